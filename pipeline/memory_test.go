package pipeline

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWorkersShareTheMemory(t *testing.T) {
	const total = 450
	m := newMemory(total)
	var held, most atomic.Int64
	var wg sync.WaitGroup
	for i := range 200 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			need := int64(1 + i*37%400)
			s, err := m.take(context.Background(), need)
			if !assert.NoError(t, err) {
				return
			}
			now := held.Add(need)
			for {
				old := most.Load()
				if now <= old || most.CompareAndSwap(old, now) {
					break
				}
			}
			held.Add(need/3 - need)
			s.keep(need / 3)
			s.keep(need) // nothing is taken back
			held.Add(-(need / 3))
			s.free()
			s.free() // twice is once
		}()
	}
	wg.Wait()
	assert.LessOrEqual(t, most.Load(), int64(total))
	assert.Zero(t, held.Load())
	assert.True(t, m.sem.TryAcquire(total), "all of it was given back")
}

func TestAPhotoLargerThanTheMemoryHasItAlone(t *testing.T) {
	m := newMemory(100)
	s, err := m.take(context.Background(), 1000)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = m.take(ctx, 1)
	require.ErrorIs(t, err, context.Canceled, "nobody else decodes meanwhile, and waiting ends with the run")
	s.free()
	other, err := m.take(context.Background(), 100)
	require.NoError(t, err)
	other.free()
}
