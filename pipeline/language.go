package pipeline

// speak words again, in the report's language, what reading, aligning and measuring remarked; names of columns and codes
// stay as they are. English is left as it is.
func (r *run) speak() {
	for i := range r.set.Photos {
		p := &r.set.Photos[i]
		p.Reason, p.Notes = r.words.Remark(p.Reason), r.words.Remark(p.Notes)
	}
	for i := range r.set.Zones {
		r.set.Zones[i].Notes = r.words.Remark(r.set.Zones[i].Notes)
	}
	for i := range r.set.Tiles {
		r.set.Tiles[i].Why = r.words.Remark(r.set.Tiles[i].Why)
	}
	for i := range r.set.Controls {
		r.set.Controls[i].Note = r.words.Remark(r.set.Controls[i].Note)
	}
}
