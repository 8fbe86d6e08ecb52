// Package chart reads a 24-patch colour rendition chart in a photo and ties the photo's colours to the chart's published
// ones:
//
//	Patches (linear light of the 24 patches, turned upright) ─> Fit (photo light to reference colours, residuals, edition)
//
// Everything is in linear light as in package plane; colours come out as linear sRGB, D65. A chart whose patches can't be
// brought to the published colours is refused with a reason: a wrong chart is worse than none.
//
// Original chart: C. S. McCamy, H. Marcus, J. G. Davidson (1976), "A Color-Rendition Chart", J. Appl. Photogr. Eng. 2(3),
// 95-99 (volume and pages from memory).
package chart

// Method names the way charts are read in records and run.json; it is raised by hand whenever figures may change.
const Method = "2"
