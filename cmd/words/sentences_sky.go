package words

import "trueturn/ephem/say"

// nights: why something does not happen in a night.
var nights = map[say.Key]string{
	"the Sun does not set":                 "The Sun does not set: at its lowest, its middle is {}.",
	"the Sun does not rise":                "The Sun does not rise: at noon it is {} below the horizon.",
	"the Sun sets and does not rise again": "The Sun sets and does not rise again by the next noon.",
	"the Sun is down from noon on":         "The Sun is down from noon on and rises before the next noon.",
	"so high":                              "{} high",
	"so far below the horizon":             "{} below the horizon",
	"it does not get dark":                 "It does not get dark: the Sun sinks to {} below the horizon, and darkness begins at {}.",
	"it is dark all day":                   "It is dark all day, counted from noon to noon.",
	"it is dark from noon on":              "It is dark from noon on.",
	"it is still dark at the next noon":    "It is still dark at the next noon.",

	"the Moon does not set":                      "The Moon does not set from noon to noon.",
	"the Moon does not rise":                     "The Moon does not rise from noon to noon.",
	"the Moon is up at noon":                     "The Moon is up at noon and does not rise again before the next noon.",
	"the Moon does not set before the next noon": "The Moon does not set before the next noon.",

	"the target never rises":                       "The target never rises at this latitude: it stays {} or more below the horizon.",
	"the target stays under the limit":             "The target is {} high at most, under the limit of {}.",
	"the target is up while it is not dark":        "The target is above {} only while it is not dark.",
	"the target is above the limit more than once": "The target is above the limit {} in the dark; the window given is the longest.",
	"the target's best time is not dark":           "The target's best time is with the Sun down, but not in the dark.",
}

// positions: what a table of positions leaves open, and what a field followed by its own stars rests on.
var positions = map[say.Key]string{
	"columns passed over":                           "Columns of the table that mean nothing here were ignored: {}.",
	"error of directions by their scatter":          "The table states no error for its directions; their own scatter says ± {}.",
	"error of directions taken as usual":            "The table states no error for its directions, and too few follow one another evenly to show it: ± {} is assumed. Add a column sigma_arcsec where you know it.",
	"error of rolls by their scatter":               "The table states no error for its rolls; their own scatter says ± {}.",
	"error of rolls taken as usual":                 "The table states no error for its rolls, and too few follow one another evenly to show it: ± {} is assumed. Add a column roll_sigma_deg where you know it.",
	"the table does not say which way is up":        "The table does not say which way is up in the pictures (roll), so the axis rests on how the direction moves. That takes a longer turn than pictures do; swings by hand help most.",
	"the table does not say how large pictures are": "The table does not say how large the pictures are. Their size and middle are guessed from where the stars lie, and ra_deg, dec_deg and roll_deg hold for that middle: add the columns width and height.",
	"the table does not say how bright stars are":   "The table does not say how bright every star is, so their order in it is used. Name the brightest first, or add a column flux or mag.",
	"the table does not state the stars' errors":    "The table does not state the error of every star, so it is taken from how well the stars fit the sky.",
}
