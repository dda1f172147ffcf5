package words

import "trueturn/ephem/say"

// reports: what the report says beside its drawings.
var reports = map[say.Key]string{
	"what the pictures say":  "What the pictures say",
	"head: turn the knobs":   "Turn the knobs",
	"head: swing":            "Swing the axis",
	"head: measure again":    "Measure again",
	"no axis from these":     "No axis from these pictures",
	"no axis seen":           "The pictures do not show where the axis points.",
	"no axis, as said above": "None could be measured, for the reason above.",
	"pictures used":          "{} pictures, {} used for the axis.",
	"part of the excess":     "{} of the excess.",

	"how to read the tubes":     "Each bubble is where the axis points and is as long as the measurement is unsure, two standard errors either way.",
	"tubes without marks":       "How much the planned exposure can take is not known, so the tubes have no marks.",
	"what the marks enclose":    "The marks enclose what {} can take when the other tube is in the middle; half of the tolerance is left to the gear.",
	"the planned exposure":      "the planned exposure",
	"tube: base":                "Base: how far round the axis points, against its aim",
	"tube: tilt":                "Tilt: how high the axis points, against its aim",
	"base off, as one faces it": "Base: {} seen from above, {} when facing the pole.",
	"tilt off":                  "Tilt: {}.",

	"axis toward": "tilt {}°, base {}° from north through east",

	"no creep from fewer than two": "Fewer than two pictures were used, so no creep can be seen.",
	"swings hide creep":            "The axis was swung or the camera re-aimed between most pictures, so creep cannot be seen from one to the next.",
	"how panels count":             "Bars are one standard error. Where the axis was swung or the camera re-aimed, the count begins anew.",
	"panel: north":                 "North and south. How far the middle of the picture crept over the sky; up is north.",
	"panel: east":                  "East and west. How far it crept the other way; up is east.",
	"panel: roll":                  "Turning of the picture. How far the camera turned about its line of sight; up is from north toward east.",
	"panel: upward":                "Left over upward. How much higher the camera looks than the fitted axis says.",
	"panel: sideways":              "Left over sideways. How much farther right it looks than the fitted axis says.",
	"panel: turn":                  "Turn about the axis, less a steady rate. What the gear did; each stretch about its own mean.",
	"panel: wobble":                "Angle about the axis, less the steady rate. Dots are pictures with one standard error.",
	"panel: wobble, with curve":    "Angle about the axis, less the steady rate. Dots are pictures with one standard error, the curve is the fitted wobble.",
	"panel: periods":               "Periodogram. For each period, the share of the scatter that a sine of it explains; 1 is all.",
	"panel: elongation":            "Elongation by length of exposure. Long axis over short at the worst place of the picture, not exceeded by {} of 100 exposures; the line at {} is the tolerance, each dot a length that was worked out.",
	"panel: share":                 "Share of exposures that stay round. Of a hundred exposures of that length, begun at any moment of the wobble.",
	"panel: field":                 "{}, in parts. Each is shaded by the middle one of its stars by length: {} times as long as wide where they are roundest, {} where they are longest.",
	"panel: field, longer framed":  "{}, in parts. Each is shaded by the middle one of its stars by length: {} times as long as wide where they are roundest, {} where they are longest. Parts beyond the tolerance are framed.",
	"panel: field, too few":        "{} has too few stars to tell how elongation runs over the picture.",
	"too few stars":                "too few stars",
	"tolerance":                    "tolerance",
	"tolerance of":                 "tolerance {}",
	"planned":                      "planned {}",
	"longest":                      "longest {}",
	"wanted":                       "wanted: {}",

	"wobble not measured": "Not measured: it takes pictures over more than one turn of the worm, some eight to fifteen minutes, hands off.",
	"no field":            "Not drawn: no picture with measured stars was given.",
	"not forecast":        "Not forecast: it takes an axis, the lens and the width of a star.",

	"method: pictures":   "Each picture was recognised by its stars against the Hipparcos catalogue, which gives the attitude of the camera over the horizon at the middle of the exposure, refraction counted.",
	"method: axis":       "One axis was fitted to all attitudes by least squares with the angle about it free in every picture, so that neither an uneven gear nor a swing by hand bends it.",
	"method: errors":     "What is said after ± is one standard error, from the scatter of the stars, of the catalogue, of the refraction and of the camera's own wandering.",
	"method: version":    "Version of the figures: {}.",
	"method: made by":    "Made by trueturn {}.",
	"method: written on": "Written on {} UTC.",
	"method: site":       "Site: {}, {} m.",
}

// axes: how far off the axis is, the limits of an exposure and what became of one, on terminal and report alike.
var axes = map[say.Key]string{
	"too high":              "{} too high",
	"too low":               "{} too low",
	"too far clockwise":     "{} too far clockwise",
	"too far anticlockwise": "{} too far anticlockwise",
	"the limit is":          "The limit is {}.",
	"round":                 "round",
	"round, but":            "round, but {}",
	"not round":             "not round",
	"not round, because":    "not round: {}",
	"cannot be judged":      "cannot be judged",
}
