package ledger

import (
	"fmt"
	"math"
	"reflect"
	"strings"
)

// Plain returns v as maps, lists, numbers and text, with nothing (nil) for figures that were not measured: JSON has no
// NaN. Struct fields go by their json name; unexported ones and those named "-" are left out.
func Plain(v any) any { return plain(reflect.ValueOf(v)) }

func plain(v reflect.Value) any {
	switch v.Kind() {
	case reflect.Invalid:
		return nil
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			return nil
		}
		return plain(v.Elem())
	case reflect.Struct:
		out := map[string]any{}
		for i := range v.NumField() {
			f := v.Type().Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			if !f.IsExported() || name == "-" {
				continue
			}
			if name == "" {
				name = f.Name
			}
			out[name] = plain(v.Field(i))
		}
		return out
	case reflect.Map:
		out := map[string]any{}
		for it := v.MapRange(); it.Next(); {
			out[fmt.Sprint(it.Key().Interface())] = plain(it.Value())
		}
		return out
	case reflect.Slice, reflect.Array:
		out := make([]any, v.Len())
		for i := range out {
			out[i] = plain(v.Index(i))
		}
		return out
	case reflect.Float32, reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return nil
		}
	}
	return v.Interface()
}
