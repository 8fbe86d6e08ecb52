package trend

import (
	"math"
	"slices"
	"strings"
)

// Entry is a row of the user's upkeep file. Nothing measured depends on it.
type Entry struct {
	When Span
	Zone string // "" = everywhere
	Kind string // clean repair replace regrout water_off water_on cut_back inspect damage due asked answered, or ""
	Work string // in the user's words
}

// worked are the kinds that record work on the surface or its surroundings; "" counts, because the file is one of work.
var worked = []string{"", "clean", "repair", "replace", "regrout", "cut_back"}

// cutting are the kinds after which growth starts anew or goes on at another pace.
var cutting = []string{"", "clean", "repair", "replace", "regrout", "water_off", "water_on"}

// IsWork reports whether the entry records work: not an inspection, a letter, a damage or a switch of the water.
func (e Entry) IsWork() bool { return slices.Contains(worked, e.Kind) }

// Cuts reports whether the entry ends a stretch of growth.
func (e Entry) Cuts() bool { return slices.Contains(cutting, e.Kind) }

// ForZone returns the entries for a zone and those for everywhere, in order of date. Ids are compared ignoring case.
func ForZone(entries []Entry, zone string) []Entry {
	var r []Entry
	for _, e := range entries {
		if e.Zone == "" || strings.EqualFold(e.Zone, zone) {
			r = append(r, e)
		}
	}
	sortEntries(r)
	return r
}

func sortEntries(e []Entry) {
	slices.SortStableFunc(e, func(a, b Entry) int { return compareSpans(a.When, b.When) })
}

// Record says what period the upkeep file covers, as the user states it. From > To = not stated.
type Record struct {
	Covers Span
	Source string
}

// Unstated is the record of an upkeep file whose user did not say what it covers.
var Unstated = Record{Covers: Span{1, 0}}

// Stated reports whether the user said what period the file covers.
func (r Record) Stated() bool { return r.Covers.From <= r.Covers.To }

// Silent reports whether the file covers all of a span, stated so, and holds no entry of work that touches it.
func (r Record) Silent(entries []Entry, s Span) bool {
	if !r.Stated() || s.From < r.Covers.From || s.To > r.Covers.To {
		return false
	}
	for _, e := range entries {
		if e.IsWork() && !e.When.Before(s) && !s.Before(e.When) {
			return false
		}
	}
	return true
}

// Since is the time from the last recorded work to a day.
type Since struct {
	Days float64 // from the end of the entry, NaN = no entry of work on or before the day
	Last Entry
}

// SinceWork looks for the last entry of work that ended on or before a day, among a zone's entries.
func SinceWork(entries []Entry, day int) Since {
	s := Since{Days: math.NaN()}
	for _, e := range entries {
		if e.IsWork() && e.When.To <= day && (math.IsNaN(s.Days) || e.When.To > s.Last.When.To) {
			s.Last, s.Days = e, float64(day-e.When.To)
		}
	}
	return s
}
