// Package sheet makes lens tables of the spreadsheets in which shops list their
// lenses: CSV files and XLSX workbooks with columns, units and signs of their
// own. A map, which the user writes or edits, says what is what; see [ReadMap].
// [Suggest] proposes a map, [Import] makes the table.
//
// Nothing is guessed. A radius that the sheet does not give is computed where
// the lens's form, focal length, index and thickness leave one answer. A lens
// that is not determined is left out, with the reason. A cell that cannot be
// read is a fault.
//
// Sheets come from strangers: their size, the length of a cell and the number
// of columns are bounded, memory does not grow with the number of rows beyond
// some tens of bytes for each, and formulas are refused where their values
// would be used.
package sheet
