// Package sheet is what a study writes: one page of text and tables in Markdown, and beside it plots in SVG.
//
// Start with [New] and [Book.Chapter]; [Book.Save] writes everything to a folder. All of it stays in memory until then
// and every file appears whole or not at all. What is written depends on what was put in alone: no clock, no names of
// temporary files.
package sheet
