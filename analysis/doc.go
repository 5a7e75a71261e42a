// Package analysis says what a run tells: pure functions of record.Run, from
// the gates of stability to the correction table. It moves nothing and reads
// nothing.
//
// The nouns, in the order in which data passes:
//
//   - Package steady says whether the machine does the same twice (Stability, its gates
//     first of all), and takes the survey apart (Profile: evidence, never proof, since a
//     map cannot tell the bed from the beam). Its Paired is one gauging with the probe's
//     touches of the same place just before and after; its G is the raw gap error.
//   - Gap is the gap error over the bed, from the posterior of all readings (package
//     model), with its doubt; Share how much of the Profile's bend is lever error; Model
//     what each error motion makes of it.
//   - Finding is a conclusion in plain words; Verdict is all of it.
//   - Table is the correction for the nodes of the stored map, or a Refusal.
//
// # Frame and symbols
//
// X to the right, Y to the back, Z up from the bed (ISO 841). A place of the bed
// is (u, v). With the lever (px, py) from nozzle to probe, a head that rolls by
// a about X and pitches by b about Y holds the probe higher, relative to the
// nozzle, by
//
//	D = py sin a cos b - px sin b
//
// and with the carriage's straightness EZX the probe finds the bed at
//
//	m(u,v) = b(u,v) - EZX(u-px) - D(u-px)
//
// while the nozzle meets it at n(u,v) = b(u,v) - EZX(u). The gap error is
// g = m - n less the same at the zero place, where the person set the Z offset;
// + = the nozzle is too high there. The correction of the stored map is -g.
// The level is m - n at the zero place: how far the Z offset is too high.
//
// # Model
//
// Package model holds it: error motions as smooth series with priors, each instrument a
// row, every question a row of the posterior. estimate.go makes the rows of a run;
// surface.go asks. The gap error against the zero place is taken apart by geometry: what
// changes from left to right in the zero place's row (and what of that bends), what
// changes from front to back in its column, and the rest, the left-right change that is
// another in another row. A part is seen beyond its 95 % half width, and proven beyond
// 1.6 times that.
//
// A bend along X needs the beam; a slope along X is beam or Y axis alike; only the
// rest proves that the Y axis rolls. What cannot be told apart comes out as wide parts
// with a narrow sum, and is named by the sum. Where the doubt of a bend is beyond the
// tolerance, the zero place does not fit, or nothing smooth fits the places, there is no
// Gap but a Reason (whynot.go).
//
// # Units
//
// mm and mm per mm, s, rad inside; degrees and um in sentences. Nodes are whole
// um. Intervals are 95 %: k from Student's t for what repeats tell, 1.96 for the
// posterior, whose scatter of the hand is part of the mixture.
//
// # Concurrency
//
// Everything is a pure function of its arguments; a Verdict may be read by many.
//
// # Errors
//
// Judge takes any run and never fails: what cannot be told is nil with a
// reason.
//
// # References
//
// JCGM 100:2008 (GUM): uncertainty, F.2.2.1 for the report step, G.3 for k, H.3
// for prediction. ISO 230-2: reversal value and repeatability. NIST e-Handbook
// 4.4.4.6: lack of fit. Package model names those of the estimate, the checks in the
// tests the rest.
package analysis
