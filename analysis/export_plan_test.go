package analysis

// BendAt is the profile as the fit uses it, mm.
func (p *Profile) BendAt(u float64) float64 {
	f, _ := p.bend(u)
	return f
}
