package main

import "strings"

// nearest returns the known word that got most likely stands for, or "" if none is near: within a third of its letters
// by edits (insert, delete, change, swap neighbours), or one the beginning of the other.
func nearest(got string, known []string) string {
	got = strings.ToLower(got)
	best, at := "", len(got)/3+1
	for _, k := range known {
		d := edits(got, k)
		if bare := strings.TrimLeft(got, "-"); d > at && len(bare) >= 3 && strings.HasPrefix(strings.TrimLeft(k, "-"), bare) {
			d = at
		}
		if d < at || d == at && best == "" {
			best, at = k, d
		}
	}
	return best
}

// edits is the optimal string alignment distance, over bytes.
func edits(a, b string) int {
	prev2, prev, cur := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}
