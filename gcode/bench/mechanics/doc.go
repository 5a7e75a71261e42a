// Package mechanics is what the virtual printer is made of, without wire and controller:
// a Machine's exact geometry and its error motions, the Shape of the bed, a Probe with
// what goes wrong at a touch, the stored map as a Grid that the printer's own probe
// measured, and Heaters.
//
// Units: mm, rad, virtual s, deg C; X right, Y back, Z up. Values are guarded by who holds
// them. A map of fewer than 2 x 2 nodes panics.
package mechanics
