// Package plot draws what page, report, pole and tonight share, as SVG to stand within a page.
//
// Start with [Chart] (one quantity over one axis), [Tube] (a mason's level for one knob) [Field] (how long stars
// are over a picture) and [Plumb] (where a star stands by the pole); each has a method SVG. [Style] is the style sheet they need: colours are
// variables of it, so that the same drawing serves the night and the printer.
//
// Drawings are meant for a phone first: 360 units wide, their type 14 units. They scale with their column, load nothing,
// run no script, carry a text alternative, and depend on their data alone, to the byte. What is not
// finite is left out; nothing fails.
package plot
