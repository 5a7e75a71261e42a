package analysis

import "abbed/probe/record"

// Model is how the gap error was fitted: raw gap = sum of terms, on
// coordinates scaled to [-1, 1] over the gauged rectangle. Empty where nothing
// was fitted.
type Model struct {
	// Coefficients are those of the average over the candidates, mm.
	Coefficients []Coefficient `json:"coefficients"`
	// Covariance of Coefficients within the best candidate, mm^2, in the order
	// of Candidates[0].Terms.
	Covariance [][]float64 `json:"covariance"`
	// Candidates, the best first.
	Candidates []Candidate `json:"candidates"`
	// Rank and Condition of the best candidate's matrix, columns scaled.
	Rank      int     `json:"rank"`
	Condition float64 `json:"condition"`
	// LackOfFit tests the best candidate against the scatter of repeats.
	LackOfFit *LackOfFit `json:"lack_of_fit"`
	// PureError is the standard deviation of one gauging, from repeats at one
	// place.
	PureError *Measured `json:"pure_error"`
	// Residuals of every gauging.
	Residuals []Residual `json:"residuals"`
	// Outliers are gaugings that do not fit with their fellows.
	Outliers []Odd `json:"outliers"`
	// CannotTell lists terms that the places cannot tell apart.
	CannotTell []CannotTell `json:"cannot_tell"`
}

// Coefficient is the size of one term.
type Coefficient struct {
	Term string `json:"term"`
	// Says is the term in words.
	Says string `json:"says"`
	// Weight is the sum of the weights of the candidates that have the term.
	Weight float64 `json:"weight"`
	Measured
}

// Candidate is one selection of terms.
type Candidate struct {
	Terms []string `json:"terms"`
	AICc  float64  `json:"aicc"`
	// Weight is its share in the average, 0..1.
	Weight float64 `json:"weight"`
	// S is the standard deviation of its residuals, DoF their degrees of freedom.
	S   float64 `json:"s"`
	DoF float64 `json:"dof"`
	// Condition of its matrix, columns scaled.
	Condition float64 `json:"condition"`
}

// LackOfFit is the F test of the deviations of place means from the model
// against the scatter of repeats.
type LackOfFit struct {
	F   float64 `json:"f"`
	DF1 float64 `json:"df1"`
	DF2 float64 `json:"df2"`
	P   float64 `json:"p"`
}

// Residual is what the model leaves of one gauging, mm.
type Residual struct {
	N        int64        `json:"n"`
	Place    record.Place `json:"place"`
	Gap      float64      `json:"gap"`
	Fitted   float64      `json:"fitted"`
	Residual float64      `json:"residual"`
	Outlier  bool         `json:"outlier"`
}

// CannotTell names terms that the places cannot tell apart, and what would.
type CannotTell struct {
	Terms []string `json:"terms"`
	Text  string   `json:"text"`
	Next  string   `json:"next"`
}
