// Package spelling finds the word a mistyped one most likely stands for: the names of things in the sky, and the
// commands, flags and equipment of the program, by one rule. Start with [Nearest].
package spelling

import "strings"

// Nearest is which of the known words a typed one most likely stands for, −1 where none is close: one that begins with
// it (two letters or more), else the one that takes the fewest letters changed, put in, taken out or swapped with their
// neighbour, the first of several. One letter in four may be wrong, and one in any case. Small and capital letters are the same.
func Nearest(word string, known []string) int {
	typed := []rune(strings.ToLower(word))
	best, least := -1, min(1+max(1, len(typed)/4), len(typed))
	for i, k := range known {
		letters := []rune(strings.ToLower(k))
		if len(typed) > 1 && strings.HasPrefix(string(letters), string(typed)) {
			return i
		}
		if len(letters) > len(typed)+least || len(typed) > len(letters)+least {
			continue
		}
		if d := changes(typed, letters); d < least {
			best, least = i, d
		}
	}
	return best
}

// changes counts the letters to put in, take out or change to make b of a, neighbours that changed places counting as
// one.
func changes(a, b []rune) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := range a {
		row[0] = i + 1
		for j := range b {
			change := last[j]
			if a[i] != b[j] {
				change++
			}
			row[j+1] = min(change, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
