// Package outline finds tiles in the reference photo: joints are thin, connected and of one material; tiles are the
// closed cells between them. It also tells which tiles are neighbours and how wide the joint between them is.
//
// The chain: picture in linear light on the measuring frame -> CIELAB -> thin lines that differ from both their sides
// (lighter or darker) -> the colour of the joint material, learned from the lines that recur all over the zones -> joint
// strength of every pixel -> watershed into fragments -> fragments merged into a tree by the strength of the border
// between them -> the cut of the tree whose cells look most like tiles -> outlines.
//
// The watershed is Meyer's flooding: Meyer (1994), Topographic distance and watershed lines, Signal Processing 38(1),
// 113-125. The distance transform is Felzenszwalb and Huttenlocher (2012), Distance transforms of sampled functions,
// Theory of Computing 8, 415-428. The polygon simplification is Douglas and Peucker (1973), Cartographica 10(2), 112-122.
// Sources cited from memory.
package outline
