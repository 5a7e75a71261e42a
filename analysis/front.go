package analysis

import (
	"abbed/analysis/result"
	"abbed/analysis/steady"
)

// What a Verdict is made of, under the names by which others know it.
type (
	Finding   = result.Finding
	Measured  = result.Measured
	Node      = result.Node
	Table     = result.Table
	Odd       = steady.Odd
	Period    = steady.Period
	Profile   = steady.Profile
	Ride      = steady.Ride
	Stability = steady.Stability
)

// The findings, and the codes of a refusal, likewise.
const (
	Healthy            = result.Healthy
	BeamTwist          = result.BeamTwist
	BeamPitch          = result.BeamPitch
	HeadTilt           = result.HeadTilt
	BedRoll            = result.BedRoll
	BedPitch           = result.BedPitch
	TrueShape          = result.TrueShape
	LooseCarriage      = result.LooseCarriage
	WornWheels         = result.WornWheels
	ProbeNotRepeatable = result.ProbeNotRepeatable
	DriftFound         = result.DriftFound
	NoLever            = result.NoLever
	Repair             = result.Repair
	Undetermined       = result.Undetermined
	NotNeeded          = result.NotNeeded
	MapStale           = result.MapStale
	MapAreaUnknown     = result.MapAreaUnknown
	NoGauging          = result.NoGauging
	NoSurvey           = result.NoSurvey
	NodeTooFar         = result.NodeTooFar
	TooLarge           = result.TooLarge
	TooSteep           = result.TooSteep
	TooUncertain       = result.TooUncertain
	FindingPrefix      = result.FindingPrefix
)
