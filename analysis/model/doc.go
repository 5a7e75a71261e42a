// Package model is the one linear model of the gap error: everything that is ever
// measured on a machine is linear in a few unknown functions, each of which has a
// prior, and every question is a row of the posterior.
//
// The nouns, in the order in which data passes:
//
//   - Motion is an error motion of the machine in the names of ISO 230-1, a Legendre
//     series of Degree along its travel; Machine is what is known beforehand.
//   - Row holds the coefficients of one observation, or of one question, over all
//     unknowns. Machine.Gap, Map, Laid and Angle are the rows of the instruments: a
//     reading at the gauge or a printed patch (with a constant), a touch of the map, a
//     touch on a straight reference, a level at the head.
//   - Data are the observations. The touches of a map enter the normal equations once
//     and are not kept; Readings stand one by one.
//   - Prior is what is held beforehand: Members (how large each coefficient may be),
//     Hands (how much a person's readings scatter), slips, a drift. Usual is that of a
//     machine of which nothing is known.
//   - Posterior is what Data.Fit leaves: the mixture of all members by their marginal
//     likelihood. At, Raw, Between, Left and Outlook ask it.
//
// # The map is given
//
// A map tells bed and machine together. Map has on the gap error's row the surface as
// the nozzle meets it, and Prior.Given keeps the map from voting by itself: a bent beam
// over a plate that is bent the other way gives a flat map, and to count that as a
// coincidence by the tenth of a micrometre would make every flat map a proof. What the
// map says of the gap error under each member stands: where the plate is held to be
// flat, the bends are the machine's. What it has beyond the smooth series (Machine.Rest)
// has an unknown share in the gap error.
//
// # Two weights
//
// What is predicted leans on the likely (Member.Lean: nothing, or a wedge), its doubt is
// the mean square of the difference from it without that. A machine of which one thing
// moves and one of which everything moves a little are both in the prior: small motions
// are seen by few readings, and the doubt must hold them.
//
// # Units
//
// mm and rad; coordinates in mm of the bed, X to the right, Y to the back.
//
// # Concurrency
//
// A Posterior is immutable and may be read by many. Data may be fitted by many once
// nothing is added.
//
// # Errors
//
// None: Fit says whether there is a posterior. What is not finite must not come in.
//
// # References
//
// Rasmussen, Williams, Gaussian Processes for Machine Learning, 2006, 2.1 (Bayesian
// linear model). MacKay, Bayesian interpolation, Neural Computation 4, 1992 (evidence).
// Ren, Cheung, Xiao, Sensors 2018 (the next place where the doubt is largest; from
// memory). Goldstein, Wooff, Bayes Linear Statistics, 2007, ch. 3 (what a reading leaves
// of a mixture; from memory).
package model
