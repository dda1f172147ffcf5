package words

import "trueturn/ephem/say"

// answers are what package answer notes beside an axis.
var answers = map[say.Key]string{
	"axis at the target": "Toward the target, at this hour, the bending holder moves the axis by {}: there it is {} from where it should point.",
	"odd rate":           "The camera turns at {} of the stars' speed, which no sound motor does. A clamp that gives way evenly looks the same, and moves the axis found.",
	"tighten and swing":  "Tighten everything, swing the axis by 30° and back near the start, and measure again.",
	"tighten":            "Tighten everything and measure again.",
	"all mirrored":       "All pictures are mirrored (left and right exchanged); measured all the same.",
	"some mirrored":      "Left and right are exchanged in {} (mirrored); measured all the same.",

	// What place and zone rest on.
	"zone as in the pictures":    "Zone as told by the pictures.",
	"zone as given":              "Zone as given.",
	"times taken for UTC":        "Times taken for UTC.",
	"times as in the table":      "Times as in the table.",
	"site as given":              "Site as given.",
	"were the clock an hour off": "If the clock were an hour off: tilt {}, base {} more or less.",

	// Tables, and pictures followed by their own stars.
	"directions scatter":               "The directions scatter {} times as much as the errors stated. That is reckoned with.",
	"table tells no width":             "How long stars stay round the table cannot say: it tells no width of stars (fwhm_px).",
	"table tells no lens and no width": "How long stars stay round the table cannot say: it tells no lens and no width of stars.",
	"followed": "This field is too narrow to be recognised, so the pictures were followed by their own stars. " +
		"They are taken to look at right ascension {}, declination {}, within {}, up at position angle {} ± {}, {}.",
	"up as given":         "as given",
	"up by the motor off": "found from the stars' way with the motor off",
	"field given wrong":   "A field given wrong by more makes the answer wrong.",
	"field given wrong, or mirrored": "A field given wrong by more, or pictures with left and right exchanged, make the answer wrong: these pictures do not show which. " +
		"Two pictures with the motor off, half a minute apart, do, unless the field is near the equator.",
	"mirrored or not?": "Left and right may be exchanged in these pictures, and the axis would then lie elsewhere. " +
		"Take two pictures with the motor off, half a minute apart, and measure again with them among the others. " +
		"Near the equator of the sky they cannot tell; then have the program that wrote the files say which way their rows run (ROWORDER).",
}
