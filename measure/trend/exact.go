package trend

// law is the probability of each value of S from -Max to +Max, when all orders of the values are equally likely.
type law struct {
	max int
	p   []float64 // p[s+max]
}

// slack is the relative tolerance when probabilities or tails are compared.
const slack = 1e-9

// twoSided returns the probability of an S at least as far from 0; the law is symmetric.
func (l *law) twoSided(s int) float64 {
	sum := 0.0
	for i, p := range l.p {
		if abs(i-l.max) >= abs(s) {
			sum += p
		}
	}
	return min(sum, 1)
}

// critical returns the smallest c > 0 with P(S >= c) <= tail, or false when even the largest S is likelier than that.
func (l *law) critical(tail float64) (int, bool) {
	sum, best, found := 0.0, 0, false
	for c := l.max; c > 0; c-- {
		sum += l.p[c+l.max]
		if sum > tail*(1+slack) {
			break
		}
		if l.p[c+l.max] > 0 {
			best, found = c, true
		}
	}
	return best, found
}

// plus returns the law of the sum of two independent S.
func (l *law) plus(o *law) *law {
	r := &law{max: l.max + o.max, p: make([]float64, 2*(l.max+o.max)+1)}
	for i, a := range l.p {
		for j, b := range o.p {
			r.p[i+j] += a * b
		}
	}
	return r
}

// exactS returns the law of S for these times and values, or nil where it is too dear.
func exactS(time, value signs) *law {
	n := len(time)
	groups, weak := groupsOf(time)
	ties, _ := groupsOf(value)
	switch {
	case weak && len(groups) == n:
		return lawOfGroups(ties)
	case weak && len(ties) == n:
		return lawOfGroups(groups)
	case n <= enumerateVisits:
		return enumerate(time, value)
	}
	return nil
}

// groupsOf returns the sizes of the groups of entries with the same place in the order, and whether the order is one
// of groups at all: overlapping ranges of dates need not be (a overlaps b, b overlaps c, a before c).
func groupsOf(s signs) (sizes []int, weak bool) {
	seen := make([]bool, len(s))
	for i := range s {
		if seen[i] {
			continue
		}
		size := 0
		for j := range s {
			if s[i][j] != 0 {
				continue
			}
			for k := range s {
				if s[i][k] != s[j][k] {
					return nil, false
				}
			}
			seen[j] = true
			size++
		}
		sizes = append(sizes, size)
	}
	return sizes, true
}

// lawOfGroups is the law of S when one side is fully ordered and the other has ties in groups of these sizes. The
// number of inversions of a word with repeated letters has the Gaussian multinomial as generating function (MacMahon,
// 1916), a product of Gaussian binomials, each by its own Pascal rule: sums of positive terms only.
func lawOfGroups(sizes []int) *law {
	p := []float64{1}
	total := 0
	for _, k := range sizes {
		total += k
		p = convolve(p, Inversions(total, k))
	}
	r := &law{max: len(p) - 1, p: make([]float64, 2*len(p)-1)}
	for inv, v := range p {
		r.p[r.max-2*inv+r.max] = v
	}
	return r
}

// Inversions returns the chance of each number of inversions, 0 to k(n-k), between k letters of one kind and n-k of
// another in random order: the terms of the Gaussian binomial coefficient divided by their sum. It is the law of the
// Mann-Whitney count (Mann and Whitney, 1947, Ann. Math. Stat. 18, 50-60). 0 <= k <= n.
func Inversions(n, k int) []float64 {
	if k > n-k {
		k = n - k
	}
	row := make([][]float64, k+1) // row[j] = terms for (m, j)
	row[0] = []float64{1}
	for m := 1; m <= n; m++ {
		for j := min(m, k); j >= 1; j-- {
			// (m, j) = (m-1, j-1) + q^j (m-1, j), in probabilities: weights j/m and (m-j)/m.
			next := make([]float64, j*(m-j)+1)
			for i, v := range row[j-1] {
				next[i] += v * float64(j) / float64(m)
			}
			if m-1 >= j {
				for i, v := range row[j] {
					next[i+j] += v * float64(m-j) / float64(m)
				}
			}
			row[j] = next
		}
	}
	return row[k]
}

func convolve(a, b []float64) []float64 {
	r := make([]float64, len(a)+len(b)-1)
	for i, x := range a {
		for j, y := range b {
			r[i+j] += x * y
		}
	}
	return r
}

// enumerate tries every order of the values (Heap's algorithm).
func enumerate(time, value signs) *law {
	n := len(time)
	r := &law{max: n * (n - 1) / 2, p: make([]float64, n*(n-1)+1)}
	perm := make([]int, n)
	for i := range perm {
		perm[i] = i
	}
	count := 0
	visit := func() {
		s := 0
		for i := range perm {
			for j := i + 1; j < n; j++ {
				s += int(time[i][j]) * int(value[perm[i]][perm[j]])
			}
		}
		r.p[s+r.max]++
		count++
	}
	visit()
	c := make([]int, n)
	for i := 1; i < n; {
		if c[i] >= i {
			c[i] = 0
			i++
			continue
		}
		if i%2 == 0 {
			perm[0], perm[i] = perm[i], perm[0]
		} else {
			perm[c[i]], perm[i] = perm[i], perm[c[i]]
		}
		visit()
		c[i]++
		i = 1
	}
	for i := range r.p {
		r.p[i] /= float64(count)
	}
	return r
}
