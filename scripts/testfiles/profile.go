package main

import (
	"encoding/binary"
	"math"
	"unicode/utf16"
)

// The colorants of profiles as they are in use, XYZ relative to D50, columns red, green, blue. From memory; they agree
// with the published primaries adapted by Bradford to 0.0002 (a test compares them).
var (
	colorantsP3    = [9]float64{0.51512, 0.29198, 0.15710, 0.24120, 0.69225, 0.06657, -0.00105, 0.04189, 0.78407}
	colorantsAdobe = [9]float64{0.60974, 0.20528, 0.14919, 0.31111, 0.62567, 0.06322, 0.01947, 0.06087, 0.74457}
	// An editing space whose own white is D50, primaries (0.630, 0.340), (0.295, 0.605), (0.150, 0.075), worked out.
	colorantsD50  = [9]float64{0.50938, 0.32091, 0.13391, 0.27490, 0.65814, 0.06695, 0.02426, 0.10878, 0.69186}
	colorantsSRGB = [9]float64{0.43607, 0.38515, 0.14307, 0.22249, 0.71687, 0.06061, 0.01392, 0.09708, 0.71410}
)

type element struct {
	sig  string
	data []byte
}

func be32(v ...uint32) []byte {
	var b []byte
	for _, x := range v {
		b = binary.BigEndian.AppendUint32(b, x)
	}
	return b
}

func fixed(v float64) uint32 { return uint32(int32(math.Round(v * 65536))) }

func xyzElement(x, y, z float64) []byte {
	return append([]byte("XYZ \x00\x00\x00\x00"), be32(fixed(x), fixed(y), fixed(z))...)
}

// para is a parametricCurveType.
func para(kind uint16, v ...float64) []byte {
	b := append([]byte("para\x00\x00\x00\x00"), byte(kind>>8), byte(kind), 0, 0)
	for _, x := range v {
		b = append(b, be32(fixed(x))...)
	}
	return b
}

// curv is a curveType.
func curv(v ...uint16) []byte {
	b := append([]byte("curv\x00\x00\x00\x00"), be32(uint32(len(v)))...)
	for _, x := range v {
		b = append(b, byte(x>>8), byte(x))
	}
	return b
}

// srgbPara is the sRGB curve as version 4 profiles write it.
var srgbPara = para(3, 2.4, 1/1.055, 0.055/1.055, 1/12.92, 0.04045)

// srgbTable is the sRGB curve as 1024 points, as version 2 profiles write it.
func srgbTable() []byte {
	v := make([]uint16, 1024)
	for i := range v {
		x := float64(i) / 1023
		if x <= 0.04045 {
			x /= 12.92
		} else {
			x = math.Pow((x+0.055)/1.055, 2.4)
		}
		v[i] = uint16(math.Round(65535 * x))
	}
	return curv(v...)
}

func descV2(s string) []byte {
	b := append([]byte("desc\x00\x00\x00\x00"), be32(uint32(len(s)+1))...)
	b = append(append(b, s...), 0)
	return append(b, make([]byte, 4+4+2+1+67)...)
}

func descV4(s string) []byte {
	u := utf16.Encode([]rune(s))
	b := append([]byte("mluc\x00\x00\x00\x00"), be32(1, 12)...)
	b = append(append(b, "enUS"...), be32(uint32(2*len(u)), 28)...)
	for _, x := range u {
		b = append(b, byte(x>>8), byte(x))
	}
	return b
}

// profile writes an ICC profile: version, class, colour space, connection space.
func profile(version byte, class, space, pcs string, elements ...element) []byte {
	head := make([]byte, 128)
	head[8] = version
	if version == 2 {
		head[9] = 0x10
	}
	copy(head[12:], class)
	copy(head[16:], space)
	copy(head[20:], pcs)
	copy(head[24:], []byte{0x07, 0xd0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0}) // 2000-01-01: files stay the same
	copy(head[36:], "acsp")
	copy(head[68:], be32(fixed(0.9642), fixed(1), fixed(0.8249)))
	table, data := be32(uint32(len(elements))), []byte(nil)
	base := 128 + 4 + 12*len(elements)
	for _, e := range elements {
		table = append(append(table, e.sig...), be32(uint32(base+len(data)), uint32(len(e.data)))...)
		data = append(data, e.data...)
		for len(data)%4 != 0 {
			data = append(data, 0)
		}
	}
	b := append(append(head, table...), data...)
	binary.BigEndian.PutUint32(b, uint32(len(b)))
	return b
}

// matrixProfile is an RGB profile of one curve and a matrix.
func matrixProfile(version byte, name string, m [9]float64, trc []byte) []byte {
	desc := descV4(name)
	if version == 2 {
		desc = descV2(name)
	}
	return profile(version, "mntr", "RGB ", "XYZ ",
		element{"desc", desc}, element{"wtpt", xyzElement(0.9642, 1, 0.8249)},
		element{"rXYZ", xyzElement(m[0], m[3], m[6])}, element{"gXYZ", xyzElement(m[1], m[4], m[7])},
		element{"bXYZ", xyzElement(m[2], m[5], m[8])},
		element{"rTRC", trc}, element{"gTRC", trc}, element{"bTRC", trc})
}

func profileP3() []byte     { return matrixProfile(4, "Display P3", colorantsP3, srgbPara) }
func profileAdobe() []byte  { return matrixProfile(2, "Adobe RGB (1998)", colorantsAdobe, curv(563)) }
func profileD50() []byte    { return matrixProfile(2, "white D50, gamma 1.8", colorantsD50, curv(461)) }
func profileSRGBv2() []byte { return matrixProfile(2, "sRGB table", colorantsSRGB, srgbTable()) }
func profileSRGBv4() []byte { return matrixProfile(4, "sRGB curve", colorantsSRGB, srgbPara) }

// profileSwapped has red and green exchanged: what is read with it can't be mistaken for sRGB.
func profileSwapped() []byte {
	m := colorantsSRGB
	m[0], m[1], m[3], m[4], m[6], m[7] = m[1], m[0], m[4], m[3], m[7], m[6]
	return matrixProfile(2, "red and green swapped", m, srgbTable())
}

func profileGrey() []byte {
	return profile(2, "mntr", "GRAY", "XYZ ",
		element{"desc", descV2("grey gamma 1.8")}, element{"wtpt", xyzElement(0.9642, 1, 0.8249)}, element{"kTRC", curv(461)})
}

// profileLUT has a table beside everything else.
func profileLUT() []byte {
	return profile(2, "scnr", "RGB ", "Lab ",
		element{"desc", descV2("a scanner's table")}, element{"wtpt", xyzElement(0.9642, 1, 0.8249)},
		element{"A2B0", append([]byte("mft1\x00\x00\x00\x00"), 3, 3, 2, 0)})
}

func profileCMYK() []byte {
	return profile(2, "prtr", "CMYK", "Lab ",
		element{"desc", descV2("a press")}, element{"wtpt", xyzElement(0.9642, 1, 0.8249)})
}
