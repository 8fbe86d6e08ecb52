package main

import (
	"bytes"
	"encoding/binary"
	"log"
)

// box is a box of an ISO base media file (ISO/IEC 14496-12, 4.2): where it begins, and behind its head.
type box struct{ at, body, end int }

// findBox looks for a kind of box between two places.
func findBox(b []byte, from, to int, kind string) box {
	for at := from; at+8 <= to; {
		n := int(binary.BigEndian.Uint32(b[at:]))
		if string(b[at+4:at+8]) == kind {
			return box{at, at + 8, at + n}
		}
		at += n
	}
	log.Fatalf("no box %s", kind)
	return box{}
}

// rotated adds a rotation of n quarter turns anticlockwise (ISO/IEC 23008-12, 6.5.10) to the main item of a HEIF
// file of few items, as phones write it beside the EXIF orientation.
func rotated(b []byte, n byte) []byte {
	be := binary.BigEndian
	b = append([]byte(nil), b...)
	meta := findBox(b, 0, len(b), "meta")
	iprp := findBox(b, meta.body+4, meta.end, "iprp")
	ipco := findBox(b, iprp.body, iprp.end, "ipco")
	ipma := findBox(b, iprp.body, iprp.end, "ipma")
	iloc := findBox(b, meta.body+4, meta.end, "iloc")

	main := be.Uint16(b[findBox(b, meta.body+4, meta.end, "pitm").body+4:])
	properties := byte(1) // the number of the new one
	for at := ipco.body; at < ipco.end; at += int(be.Uint32(b[at:])) {
		properties++
	}
	irot := append(be32(9), 'i', 'r', 'o', 't', n)
	// ipma: version and flags, count of items; an item's id (16 bit), count of associations, one byte each.
	assigned := append([]byte(nil), b[ipma.body:ipma.body+8]...)
	for at := ipma.body + 8; at < ipma.end; {
		k := int(b[at+2])
		item := append([]byte(nil), b[at:at+3+k]...)
		if be.Uint16(item) == main {
			item[2]++
			item = append(item, 0x80|properties)
		}
		assigned = append(assigned, item...)
		at += 3 + k
	}
	newIpma := append(append(be32(uint32(8+len(assigned))), "ipma"...), assigned...)
	grown := len(irot) + len(newIpma) - (ipma.end - ipma.at)
	for _, x := range []struct{ at, more int }{{meta.at, grown}, {iprp.at, grown}, {ipco.at, len(irot)}} {
		be.PutUint32(b[x.at:], be.Uint32(b[x.at:])+uint32(x.more))
	}
	// iloc of version 1: sizes of fields, count; an item's id, method, source, base, count of extents, each an offset and
	// a length, all three of 4 bytes.
	if b[iloc.body] != 1 || b[iloc.body+4] != 0x44 || b[iloc.body+5] != 0x40 {
		log.Fatal("an iloc box of another kind than heif-enc writes")
	}
	at := iloc.body + 8
	for range int(be.Uint16(b[iloc.body+6:])) {
		if be.Uint16(b[at+2:]) == 0 { // method 1 counts from within a box of its own
			be.PutUint32(b[at+6:], be.Uint32(b[at+6:])+uint32(grown))
		}
		at += 12 + 8*int(be.Uint16(b[at+10:]))
	}
	return bytes.Join([][]byte{b[:ipco.end], irot, newIpma, b[ipma.end:]}, nil)
}
