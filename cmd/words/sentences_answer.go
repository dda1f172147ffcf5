package words

import "trueturn/ephem/say"

// answers are what package answer notes beside an axis.
var answers = map[say.Key]string{
	"axis at the target": "Toward the target, at this hour, the bend of the holder moves the axis by {}: there it is {} from where it should point.",
	"odd rate":           "The camera turns at {} of the stars' speed, as no sound motor does. A clamp that gives way evenly looks the same, and shifts the axis found.",
	"tighten and swing":  "Tighten everything, swing the axis by 30° and back near the start, and measure again.",
	"tighten":            "Tighten everything and measure again.",
	"all mirrored":       "All pictures are mirrored (left and right swapped); they were measured all the same.",
	"some mirrored":      "Left and right are swapped in {} (mirrored); measured all the same.",

	// What place and zone rest on.
	"zone as in the pictures":    "Time zone as in the pictures.",
	"zone as given":              "Time zone as given.",
	"times taken for UTC":        "Times taken as UTC.",
	"times as in the table":      "Times as in the table.",
	"site as given":              "Site as given.",
	"were the clock an hour off": "If the clock were an hour off, the tilt would change by {}, the base by {}.",

	// Tables, and pictures followed by their own stars.
	"directions scatter":               "The directions scatter {} times as much as their stated errors say; the ± allows for that.",
	"table tells no width":             "The table cannot tell how long stars stay round: it has no star widths (fwhm_px).",
	"table tells no lens and no width": "The table cannot tell how long stars stay round: it has neither the lens nor star widths.",
	"followed": "This field is too narrow to be recognised, so its own stars were followed from picture to picture. " +
		"It is taken to lie at right ascension {}, declination {}, within {}, with up at position angle {} ± {}, {}.",
	"up as given":         "as given",
	"up by the motor off": "found from the pictures with the motor off",
	"field given wrong":   "If the field given is wrong by more, so is the answer.",
	"field given wrong, or mirrored": "If the field given is wrong by more, or left and right are swapped in the pictures, the answer is wrong; these pictures cannot show it. " +
		"Two pictures with the motor off, half a minute apart, can, unless the field is near the celestial equator.",
	"mirrored or not?": "Left and right may be swapped in these pictures; if so, the axis lies elsewhere. " +
		"Take two pictures with the motor off, half a minute apart, and measure again with them included. Near the celestial equator they cannot tell; " +
		"then have the program that wrote the files state the order of their rows (ROWORDER).",
}
