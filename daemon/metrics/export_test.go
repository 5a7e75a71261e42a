package metrics

// Names returns the names of all families, in their order.
func Names() []string {
	out := make([]string, len(every))
	for i, f := range every {
		out[i] = f.name
	}
	return out
}
