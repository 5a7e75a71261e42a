// Package analysis says what a run tells: pure functions of record.Run, from
// the gates of stability to the correction table. It moves nothing and reads
// nothing.
//
// The nouns, in the order in which data passes:
//
//   - Stability is whether the machine does the same twice: scatter, drift,
//     play by side of approach, wandering between passes; each decides a Gate.
//   - Profile is the survey taken apart into columns and rows. It is evidence,
//     never proof: a map cannot tell the bed from the beam.
//   - Paired is one gauging with the probe's touches of the same place just
//     before and after; its G is the raw gap error.
//   - Model is the fit of G; Gap the gap error that it gives, with its doubt;
//     Share how much of the Profile's bend is lever error.
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
// The raw gap error is a sum of few terms on coordinates t, s that run from -1
// to 1 over the gauged rectangle: 1, t, P2(t) .. P5(t) (Legendre), s, P2(s), t s
// and its neighbours, f(t) and h(s), the survey's own left-right and front-back
// bends, and, where a place was gauged again much later, a drift in time. Every
// selection that the gauged places can carry is fitted by weighted least squares
// (package fit) with what is held of its terms' sizes before (priors.go), and
// weighed by its marginal likelihood; the answer is the weighted average, and
// its variance that of each candidate plus the spread between them. Higher bends
// are held to be smaller than the lower ones, so that a strong bend says by
// itself how little is known between the columns. The expected scatter of a
// gauging counts as four observations of the variance (a dozen records overrule
// it).
//
// A bend along X needs the beam; a slope along X is beam or Y axis alike; only
// t s proves that the Y axis rolls. What the places cannot tell apart is said
// (Model.CannotTell), and where it matters there is no Gap but a Reason.
//
// # Units
//
// mm and mm per mm, s, rad inside; degrees and um in sentences. Nodes are whole
// um. Intervals are 95 %, k from Student's t.
//
// # Concurrency
//
// Everything is a pure function of its arguments; a Verdict may be read by many.
//
// # Errors
//
// Judge takes any run and never fails: what cannot be told is nil with a
// reason. ReadCSV reports the line, the cause and the remedy.
//
// # References
//
// JCGM 100:2008 (GUM): uncertainty, F.2.2.1 for the report step, G.3 for k, H.3
// for prediction. ISO 230-2: reversal value and repeatability. Burnham,
// Anderson, Model Selection and Multimodel Inference, 2002: AICc and averaging.
// NIST e-Handbook 4.4.4.6: lack of fit. The checks in the tests name the rest.
package analysis
