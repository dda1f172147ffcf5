// Package report writes an answer as one page that stands for itself, and its pictures as a table.
//
// Start with [HTML]: let [Of] gather a [Data] from a measured sequence and its answer, or fill one yourself, and it writes a page that needs no
// network and no script, red on black for the night and dark on white for the printer. [CSV] writes the
// figures of every picture. Both depend on what they are given alone: no clock, no files.
//
// Texts come from pictures' names and other strangers; all go through package markup, which
// makes them harmless.
package report
