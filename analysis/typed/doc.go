// Package typed reads tables that a person typed or a spreadsheet saved (what an
// instrument showed, the thickness of patches), and places on the bed (Places).
//
// In the order in which data passes: Read finds the separator and takes header
// and lines apart into a Table; each Line gives its cells as text (Cell) or as
// numbers (Number). What the columns mean, and what can be right in them, its
// users know.
//
// # Numbers
//
// A decimal point is always understood. A decimal comma is understood where a
// semicolon or a tab stands between the columns, as spreadsheets of many countries
// save it; where commas separate, nothing can tell it from a separator.
//
// # Errors
//
// ErrEmpty where there is no header; every other error names the line, the cause
// and the remedy.
package typed
