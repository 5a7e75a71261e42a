package model

// Member is one belief about the sizes of the unknowns before anything is measured.
type Member struct {
	// Log is the logarithm of how likely it is held, up to a constant.
	Log float64
	// Lean is added to it in what is predicted, but not in the doubt of that: the
	// likely (a wedge, or nothing) is leant on, and the doubt knows of the rest.
	Lean float64
	// SD holds the standard deviation of each coefficient of the motions and the
	// give, rad or mm; 0: it is not there.
	SD [firstBed]float64
	// Bed numbers the bed of Prior.Beds that it comes with; -1: the map tells nothing.
	Bed int
	// X numbers what it holds of the X carriage, Y of the Y axis.
	X, Y int
}

// Hand is one belief about the scatter of a hand at the gauge.
type Hand struct {
	Log float64
	SD  float64 // mm
}

// Prior is what is held of a machine and its person before anything is measured: a
// mixture over Members and Hands.
type Prior struct {
	Members []Member
	// Beds are the standard deviations of the bed's coefficients, mm.
	Beds [][beds]float64
	// Hands begin with the likeliest.
	Hands []Hand
	// Unread are the standard deviations of what no reading sees and the map does
	// (the straightness with a lever along Y), rad or mm.
	Unread [firstBed]float64
	// Level is that of each constant of the readings, and Tram that of the survey's.
	Level, Tram float64
	// Drifts are likely standard deviations of the drift of the readings, mm; empty:
	// none.
	Drifts []Hand
	// Slip is the standard deviation of a slip, mm, SlipLog the logarithm of the odds
	// that a given reading at the hand is one.
	Slip, SlipLog float64
	// Given says that the map is taken as it is: it tells what follows from it under
	// each member, and does not weigh the members by itself. That a bent beam over a
	// plate bent the other way gives a flat map would else count as a coincidence
	// against both, by the tenth of a micrometre to which a dense map is known.
	Given bool
	// ScoutX and ScoutY are those of X and Y with which the others are tried first, so
	// that not every pair has to be; nil: every pair is.
	ScoutX, ScoutY []int
	// Leave is how many nats below the likeliest a member is left out once the scatter
	// is about known, Drop the weight that is left out at the end.
	Leave, Drop float64
}

// BedOf returns the standard deviations of a bed's coefficients from those of
// P_i(t) P_j(s).
func BedOf(sd func(i, j int) float64) (out [beds]float64) {
	k := 0
	for n := 1; n <= Bed; n++ {
		for i := n; i >= 0; i-- {
			out[k] = sd(i, n-i)
			k++
		}
	}
	return out
}
