package intake

// gifFrames counts the frames of a GIF file by its blocks (GIF89a specification), without unpacking any; what follows
// damage is not counted.
func gifFrames(b []byte) int {
	if len(b) < 13 {
		return 0
	}
	at := 13
	if b[10]&0x80 != 0 {
		at += 3 << (b[10]&7 + 1)
	}
	subBlocks := func() {
		for at < len(b) && b[at] != 0 {
			at += 1 + int(b[at])
		}
		at++
	}
	frames := 0
	for at < len(b) {
		switch b[at] {
		case 0x21: // extension
			at += 2
			subBlocks()
		case 0x2c: // image
			frames++
			if at+10 > len(b) {
				return frames
			}
			table := 0
			if b[at+9]&0x80 != 0 {
				table = 3 << (b[at+9]&7 + 1)
			}
			at += 11 + table // and the code size
			subBlocks()
		default: // 0x3b ends the file
			return frames
		}
	}
	return frames
}
