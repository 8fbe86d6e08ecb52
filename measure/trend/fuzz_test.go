package trend

import "testing"

func FuzzParseSpan(f *testing.F) {
	for _, s := range [][2]string{{"2021-05-30", ""}, {"1998-01-01", "1998-12-31"}, {"0000-00-00", "x"}, {"9999-12-31", "9999-12-31"}, {"2021-5-3", ""}} {
		f.Add(s[0], s[1])
	}
	f.Fuzz(func(t *testing.T, from, to string) {
		s, err := ParseSpan(from, to)
		if err != nil {
			return
		}
		if ISO(s.From) != from || to != "" && ISO(s.To) != to {
			t.Errorf("%q %q came back as %s", from, to, s)
		}
		if s.To < s.From {
			t.Errorf("%s ends before it starts", s)
		}
	})
}
