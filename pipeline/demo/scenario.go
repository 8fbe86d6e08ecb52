package demo

import "time"

// referenceDay is the day both reference photos were taken, the first visit: dry, overcast, before any scale.
const referenceDay = "2020-05-09"

// cleaningDay is the only washing down on record.
const cleaningDay = "2023-03-27"

// visits are the days of the repeat photos.
var visits = []string{"2020-05-09", "2021-04-24", "2021-10-16", "2022-09-17", "2023-05-20", "2024-05-04"}

// shot is one photo of the survey.
type shot struct {
	file  string
	visit int // index into visits, -1 = the reference
	notes exif
	w, h  int
	lens  float64 // focal length, picture widths
	pose  pose
	light light
	front *foreground
}

// yearsAfter returns the years between two ISO days.
func yearsAfter(from, to string) float64 {
	a, errA := time.Parse(time.DateOnly, from)
	b, errB := time.Parse(time.DateOnly, to)
	if errA != nil || errB != nil {
		panic("demo: a day of the scenario is not an ISO date")
	}
	return b.Sub(a).Hours() / 24 / 365.25
}

const (
	oldCamera   = "Demo Camera"
	laterCamera = "Demo Camera II"
)

func overcast() light {
	return light{name: "overcast", skyK: 6600, sunK: 6000, sky: 1, fromV: -0.5, gradV: -0.03, relief: 0.9, adapt: 0.95, exposure: 0.98, flare: 0.003, blur: 0.55, noise: 0.006}
}

// shotsOf returns a view's photos, the reference first.
func shotsOf(view string) []shot {
	base := overcast()
	sunny := light{name: "sun", skyK: 9500, sunK: 5400, sky: 0.30, sun: 0.70, fromU: -0.7, fromV: -0.8, gradU: -0.05, gradV: 0.04, relief: 0.8, adapt: 0.9, exposure: 0.96, flare: 0.005, blur: 0.55, noise: 0.005}
	shade := light{name: "shade", skyK: 9800, sunK: 5400, sky: 1, fromU: 0.3, fromV: -0.5, gradU: 0.11, gradV: -0.08, relief: 0.8, adapt: 0.55, exposure: 0.86, flare: 0.006, blur: 0.7, noise: 0.011}
	low := light{name: "low sun", skyK: 8800, sunK: 4150, sky: 0.30, sun: 0.70, fromU: 1.2, fromV: -0.25, gradU: 0.12, gradV: 0.02, relief: 1.1, adapt: 0.75, exposure: 0.90, flare: 0.009, blur: 0.6, noise: 0.007}
	dull := base
	dull.exposure, dull.adapt, dull.skyK, dull.gradU, dull.noise = 0.86, 0.85, 7300, 0.04, 0.008

	if view == "kite-wall" {
		sunny.shadow, sunny.shadows = eaves(-190, -0.34, 11), []string{"eaves"}
		low.shadow, low.shadows = rail(-330, 640, 22, 0.45), []string{"railing"}
		spare := dull
		spare.exposure, spare.blur, spare.noise = 0.92, 0.75, 0.009
		return []shot{
			{"reference/kite-wall.jpg", -1, exif{oldCamera, "2020:05:09 10:58:40", 1}, 1600, 1200, 1.25, pose{0, 10, 2330, -1.5, 1.0, 0.3, -0.020}, base, nil},
			{"photos/2020-05-09/DEMO0107.jpg", 0, exif{oldCamera, "2020:05:09 10:31:05", 1}, 1600, 1200, 1.25, pose{-20, 5, 2420, 3.5, 1.6, -0.8, -0.020}, dull, nil},
			{"photos/2021-04-24/DEMO0212.jpg", 1, exif{oldCamera, "2021:04:24 12:15:44", 1}, 1600, 1200, 1.25, pose{15, -12, 2300, -6, 2.2, 1.6, -0.020}, sunny, nil},
			{"photos/autumn/kites_2021-10-16.jpg", 2, exif{oldCamera, "", 1}, 1600, 1200, 1.25, pose{-35, 20, 2480, 7.5, -0.8, -2.1, -0.020}, shade, nil},
			{"photos/2022-09-17/DEMO0344.jpg", 3, exif{oldCamera, "2022:09:17 13:40:12", 6}, 1600, 1200, 1.25, pose{20, 8, 2380, -4, 2.8, 1.1, -0.020}, calm(sunny), nil},
			{"photos/2023-05-20 kites.jpg", 4, exif{laterCamera, "", 1}, 1632, 1224, 1.12, pose{0, 15, 2160, 5, 1.2, 0.7, -0.034}, dull, nil},
			{"photos/2023-05-20 kites again.jpg", 4, exif{laterCamera, "", 1}, 1632, 1224, 1.12, pose{40, -10, 2260, 8, 2.0, -1.4, -0.034}, spare, nil},
			{"photos/2024-05-04/D2_0061.jpg", 5, exif{laterCamera, "2024:05:04 18:22:31", 1}, 1632, 1224, 1.12, pose{-15, 0, 2110, -7, 0.6, 1.9, -0.034}, low, nil},
		}
	}
	sunny.shadow, sunny.shadows = dapple(77), []string{"dapple"}
	low.shadow, low.shadows = eaves(-330, 0.22, 16), []string{"eaves"}
	plant := &foreground{name: "plant", seed: 91, x: 0.68, top: 0.44, wide: 0.34}
	return []shot{
		{"reference/stair-wall.jpg", -1, exif{oldCamera, "2020:05:09 11:04:12", 1}, 1600, 1200, 1.25, pose{0, 0, 2320, 2, 0.5, -0.4, -0.020}, base, nil},
		{"photos/2020-05-09/DEMO0111.jpg", 0, exif{oldCamera, "2020:05:09 10:36:48", 1}, 1600, 1200, 1.25, pose{10, 15, 2400, -4, 1.8, 0.9, -0.020}, dull, nil},
		{"photos/2021-04-24/DEMO0218.jpg", 1, exif{oldCamera, "2021:04:24 12:22:09", 3}, 1600, 1200, 1.25, pose{-25, -10, 2270, 6.5, 1.1, -1.7, -0.020}, sunny, nil},
		{"photos/autumn/stair_2021-10-16.jpg", 2, exif{oldCamera, "", 1}, 1600, 1200, 1.25, pose{240, 10, 2420, -8, 2.4, 2.3, -0.020}, shade, nil},
		{"photos/2022-09-17/DEMO0349.jpg", 3, exif{oldCamera, "2022:09:17 13:47:30", 1}, 1600, 1200, 1.25, pose{-10, 0, 2390, 3, 0.4, 0.6, -0.020}, calm(sunny), plant},
		{"photos/from-the-warden/stair.jpg", 4, exif{laterCamera, "", 1}, 1632, 1224, 1.12, pose{15, -15, 2130, -5.5, 1.5, -1.2, -0.034}, dull, nil},
		{"photos/2024-05-04/D2_0066.jpg", 5, exif{laterCamera, "2024:05:04 18:29:02", 1}, 1632, 1224, 1.12, pose{-30, 10, 2190, 7, 2.6, 1.5, -0.034}, low, nil},
	}
}

// calm is sun without a shadow on the wall.
func calm(l light) light {
	l.shadow, l.shadows = nil, nil
	l.fromU, l.gradU, l.exposure = 0.6, 0.05, 0.90
	return l
}

// strangerFile is the photo of something else, taken on the third visit.
const strangerFile = "photos/autumn/yard_2021-10-16.jpg"

const surveyText = `# The demo survey: an invented artwork, drawn by tilelapse itself. truth.json holds what is really there.
site: Millrace Wall
views:
  - id: kite-wall
    reference: reference/kite-wall.jpg
    regions: regions/kite-wall.svg
  - id: stair-wall
    reference: reference/stair-wall.jpg
    regions: regions/stair-wall.svg     # without tiles' outlines: they are found in the reference
photos: [photos]
palette: {file: palette.csv, white: D65}
cleaning: {m2_per_hour: 1.2, cost_per_hour: 45, setup_hours: 1, tile_each: 60, currency: EUR}
upkeep_record: {from: 2020, to: 2024, source: "mill warden's day book"}
`

const upkeepText = `date,zone,work,note,kind
2020-05-04,,wall rinsed with water and checked,no loose tiles heard,inspect
2020-07-11,,ivy cut back from the water stair,,cut_back
2020-11-06,,water turned off for the winter,,water_off
2021-03-19,,water turned on,,water_on
2023-03-27,cog-field,scale softened with water and lifted with wooden tools,,clean
2023-03-27,lower-flight,scale softened with water and lifted with wooden tools,,clean
2023-11-09,,water turned off for the winter,,water_off
2024-03-28,,water turned on,,water_on
`

const archiveText = `photo,taken,basis,kind,view,by,note
photos/from-the-warden/stair.jpg,2023-05-20,warden's letter,digital,stair-wall,warden,the camera's clock was not set
`
