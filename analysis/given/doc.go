// Package given reads what a person gives beside a run: tables of touches (ReadCSV),
// readings of instruments (ReadReadings), a straight reference (Lay), and Beside, all that
// is added to the log of a run. Errors name the line, the cause and the remedy.
package given
