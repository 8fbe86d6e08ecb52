// Package pipeline runs a survey from folder to folder: it finds the photos, aligns them, has them measured and writes
// tables, pictures and reports.
//
//	survey ─> intake ─> register.Align ─> intake.Onto ─> measure: Observe ─> Solve ─> Read ─> Close ─> table, draw, report
//	(files)   (bytes)    (grey planes)     (linear light)  └──── per photo, join, per photo, join ───┘    (files)
//
// What each photo gives is kept in the store (package ledger) under a name made of all it depends on, so that a result
// depends on the set of inputs and never on the order they came in.
package pipeline
