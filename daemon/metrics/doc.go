// Package metrics shows the Board to Prometheus. It is the only importer of
// that library.
//
// New returns the handler of /metrics, in a registry of its own; each scrape
// reads one Snapshot, so that all values of a scrape belong together.
//
// # Units
//
// Base units: meters, seconds, degrees Celsius, ratios 0..1. What is not known
// is absent, never 0.
//
//	abbed_build_info{version,commit,go}                1
//	abbed_snapshot_timestamp_seconds                   when the values were gathered
//	abbed_link_up                                      1 while the printer is identified (ready or resting)
//	abbed_link_state{state}                            1 for the state of the link, 0 for the others
//	abbed_printer_homed                                1 while the machine knows where it is
//	abbed_levelling_enabled                            1 while the stored levelling is on
//	abbed_temperature_celsius{part}                    nozzle, bed, as last heard
//	abbed_temperature_target_celsius{part}             their targets
//	abbed_owed_switches                                what a run switched off and is not put back yet
//	abbed_touches_total                                touches of the probe since the start
//	abbed_gaugings_total                               records at the blade
//	abbed_faults_total                                 faults of printer and link
//	abbed_resends_total                                lines that had to be sent again
//	abbed_lines_total                                  lines heard
//	abbed_store_bytes                                  how much of the store's file is in use
//	abbed_runs_due                                     runs that will be dropped soon
//	abbed_runs_dropped_total                           runs that were dropped, after a warning
//	abbed_run_active                                   1 while a run goes on
//	abbed_run_progress_ratio                           of the step in hand
//	abbed_step_last_timestamp_seconds{step}            when a step last ended
//	abbed_step_last_success{step}                      1 if it came to its end, 0 if not
//	abbed_steady                                       1 if all gates passed, 0 if one failed
//	abbed_probe_scatter_meters                         standard deviation of the probe
//	abbed_probe_first_touch_meters                     bias of the first touch
//	abbed_drift_meters_per_second                      drift of the heights
//	abbed_play_meters{axis}                            by side of approach
//	abbed_wander_meters                                between passes of one row
//	abbed_twist_share_ratio                            share of the map's shape that is lever error
//	abbed_z_offset_error_meters                        + = too high
//	abbed_gap_error_largest_meters{when}               before, after the correction; without sign
//	abbed_finding{id}                                  1 for each finding of the latest analysis
//	abbed_correction_state{state}                      1 for the state of what is applied, 0 for the others
//	abbed_correction_proved                            1 once gauged with the correction in force
//
// # Concurrency
//
// The handler may be called from many goroutines.
//
// # Errors
//
// New panics if a metric is described wrongly: a slip of the programmer.
package metrics
