package analysis

// share returns how much of the survey's left-right bend is lever error: the
// coefficient of f in the candidates that leave the bend to f alone (without
// t^2 and t^3 it is the projection of the gap error's bend on the profile).
func (g *gauged) share(p *Profile) (*Measured, string) {
	switch {
	case p == nil:
		return nil, "there is no survey whose shape could be shared out"
	case !p.Significant:
		return nil, "the survey's left-right shape is not above its noise"
	case len(g.surface.members) == 0:
		return nil, "without gauging nothing tells bed and beam apart"
	}
	alone := func(m member) bool {
		return !m.bent()
	}
	v, u, dof, _, ok := g.surface.coefficient(termF, alone)
	if !ok {
		return nil, "the gauged places cannot tell the survey's left-right shape from a slope: gauge more columns"
	}
	m := measured(v, u, dof, "")
	return &m, ""
}
