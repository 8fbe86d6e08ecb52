package pipeline

import (
	"context"
	"image"
	"runtime/debug"

	"golang.org/x/sync/semaphore"

	"tilelapse/pipeline/intake"
)

// decodedBytes is what photos that are decoded may hold together, whatever the number of workers, in bytes: one of 100
// megapixels at a time, or ten of 12. One that needs more than all of it has it alone.
const decodedBytes = 450 << 20

// memory is shared by the workers, so that large photos are decoded one after the other and small ones side by side.
// Results never depend on it.
type memory struct {
	sem   *semaphore.Weighted
	total int64
}

func newMemory(total int64) *memory {
	return &memory{semaphore.NewWeighted(total), total}
}

// share is a part of the memory that a worker holds. A worker takes one at a time, and none while it holds another:
// else two could wait for each other.
type share struct {
	of *memory
	n  int64
}

// take waits until n bytes are free; of more than all there is, for all of it. The caller frees the share, which is empty
// after an error.
func (m *memory) take(ctx context.Context, n int64) (*share, error) {
	huge := n > m.total
	n = min(max(n, 1), m.total)
	if err := m.sem.Acquire(ctx, n); err != nil {
		return &share{}, err
	}
	if huge {
		// What photos before it left is given back first: what decoders written in C take, Go's collector does not see.
		// Measured with a progressive photo of 100 megapixels after a plain one: a peak of 1.53 GB without this.
		debug.FreeOSMemory()
	}
	return &share{m, n}, nil
}

// keep gives back all but n bytes.
func (s *share) keep(n int64) {
	if n = max(n, 0); n < s.n {
		s.of.sem.Release(s.n - n)
		s.n = n
	}
}

// free gives back all of it.
func (s *share) free() { s.keep(0) }

// grey decodes a photo to the luma that alignment works on. The pixels are let go of at once; the share returned holds
// the luma's bytes, and the caller frees it, also after an error.
func (r *run) grey(ctx context.Context, rel string, need int64) (*image.Gray, *share, error) {
	held, err := r.memory.take(ctx, need)
	if err != nil {
		return nil, held, err
	}
	g, err := r.greyWithin(rel)
	if err != nil {
		return nil, held, err
	}
	held.keep(int64(len(g.Pix)))
	return g, held, nil
}

// greyWithin is grey for a caller that holds a share already.
func (r *run) greyWithin(rel string) (*image.Gray, error) {
	pic, _, err := intake.Read(r.survey.Dir, rel, r.limitsFor(rel))
	if err != nil {
		return nil, err
	}
	return pic.Grey(), nil
}
