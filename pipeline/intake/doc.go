// Package intake takes photos in as cameras, phones and scanners made them, or says why not: it finds them, refuses by
// limits before anything is decoded, hashes the very bytes that are decoded, reads what the file tells about the
// capture, honours colour profiles and orientation. No position (GPS) is ever read out of a file.
//
// Pixels stay encoded samples with a curve a channel and one matrix, so that a photo of 100 megapixels costs 300 MB
// and not 1.2 GB; the resample package linearises what it reads.
package intake
