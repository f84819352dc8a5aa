// Package results holds what a run leaves behind: the files it writes, the
// same files read back, the tables printed from them, and the page that tells
// all of it to people ([WriteReport]). It knows nothing of optics; the numbers
// come to it finished.
//
// Three files make up a run's result:
//
//   - ranked.parquet, one row a [Design]: sweep point by sweep point, best first.
//   - setpoints.parquet, one row a [Setpoint]: where the mask stands for a depth.
//   - run.json, the [Manifest]: what was run, and the proof of what was found.
//
// Every file appears whole or not at all ([WriteWhole]), and the Parquet files
// hold no time and no random id: the same rows give the same bytes. A column's
// unit and meaning travel with it as the field metadata `unit` and
// `description`, inside nested columns too; a number without dimension has the
// unit "1", and a label, flag or list has "none". What does not exist is null:
// a NaN is refused, because Parquet's column statistics leave NaN out and
// filters in readers then go wrong.
package results
