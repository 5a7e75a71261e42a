// Package workshop holds the sums of the bench and the repair desk: from a gap
// under a profile to its twist, from a twist to the shim that undoes it.
//
// In the order in which one works: Profile is checked on a flat reference (Check)
// against what its maker may deliver (Allowed); a Roll along the beam becomes a Lift of
// a bracket's fasteners or of a rail, and a rocking gap to confirm it with; Advice says
// what to look for by hand; Level is the bed's plane as the nozzle met it, and Tram turns
// it into turns of the supports' screws.
//
// # Units
//
// mm; angles in degrees where a name says Deg, else radians. A positive roll turns
// the back of the head up (right-handed about +X; axes of ISO 841). U is a
// standard uncertainty, U95 twice it: what goes in is judged, not counted, and
// has no degrees of freedom (JCGM 100:2008, G.3.2, Type B).
//
// # Errors
//
// What is no measurement (not finite, no length, a gap wider than the profile) is
// an error that says so.
package workshop
