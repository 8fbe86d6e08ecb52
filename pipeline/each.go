package pipeline

import "sync"

// each calls work(i) for every i in [0,n) from at most jobs goroutines, and done with the number of finished calls,
// never from two goroutines at once. Results are joined by index, so their order never depends on the machine.
func each(jobs, n int, work func(i int), done func(finished int)) {
	var wg sync.WaitGroup
	var mu sync.Mutex
	finished := 0
	next := make(chan int)
	for range min(jobs, n) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				work(i)
				mu.Lock()
				finished++
				done(finished)
				mu.Unlock()
			}
		}()
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
