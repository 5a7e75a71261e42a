package config

import (
	"slices"
	"strings"
)

// group reports whether key is the first part of other keys, and no field.
func group(key string) bool {
	for _, f := range table {
		if strings.HasPrefix(f.Key, key+".") {
			return true
		}
	}
	return false
}

// byName reports whether the field of key holds texts by name.
func byName(key string) bool {
	f, ok := find(key)
	if !ok {
		return false
	}
	_, is := f.at(new(Settings)).(*map[string]string)
	return is
}

// cutLast cuts key at its last point.
func cutLast(key string) (parent, leaf string, ok bool) {
	i := strings.LastIndexByte(key, '.')
	if i < 0 {
		return "", "", false
	}
	return key[:i], key[i+1:], true
}

// chosenHere are groups of settings of earlier versions, which abbed now chooses.
var chosenHere = []string{"repeat", "gauging", "survey", "criteria", "carry", "layer_share"}

// unknown is the hint for a key that no field has: the nearest one that has.
func unknown(key string) string {
	if parent, _, _ := strings.Cut(key, "."); slices.Contains(chosenHere, parent) {
		return "is no longer a setting: delete it. effort, tolerance, largest and gauge are what an owner chooses"
	}
	names := make([]string, len(table))
	for i, f := range table {
		names[i] = f.Key
	}
	if near := nearest(key, names); near != "" {
		return "is not a setting; did you mean " + near + "?"
	}
	return "is not a setting; abbed help settings lists them all"
}

// nearest returns the name with the smallest edit distance to text, or "" if
// none is near: within a third of its length, or the same last part.
func nearest(text string, names []string) string {
	best, least := "", len(text)
	text = strings.ToLower(text)
	for _, n := range names {
		d := distance(text, strings.ToLower(n))
		if d < least {
			best, least = n, d
		}
	}
	if best != "" && 3*least <= len(best)+1 {
		return best
	}
	_, leaf, _ := cutLast("." + text)
	for _, n := range names {
		if _, l, _ := cutLast("." + strings.ToLower(n)); l == leaf {
			return n
		}
	}
	return ""
}

// distance is the edit distance of a and b: how many letters are put in, left
// out or changed (Levenshtein 1966). Long texts are cut: a key has no 100
// letters.
func distance(a, b string) int {
	const most = 100
	a, b = a[:min(len(a), most)], b[:min(len(b), most)]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		left := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := left
			if a[i-1] != b[j-1] {
				change++
			}
			left = row[j]
			row[j] = min(change, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
