package words

import "trueturn/ephem/say"

// terminals: what the command line says of an axis, of exposures, of pictures.
var terminals = map[say.Key]string{
	"turn, the larger first":     "Turn the knobs, the larger error first:",
	"then tighten and measure":   "Then tighten the clamps and measure once more, hands off.",
	"the base is":                "base: {}",
	"the tilt is":                "tilt: {}",
	"base turn":                  "{}: to the {} when you face the pole, by {}",
	"tilt turn, up":              "{} ({})",
	"tilt turn, down":            "{} ({}): go a little too low, then up",
	"tilt turn, down, with play": "{} ({}): go about {} too low, then up",
	"off the aim":                "Off {}: tilt {}, base {} (seen from above); {} in all.",
	"the pole as seen":           "the pole as seen",
	"the true pole":              "the true pole",
	"the axis for the target":    "the axis that suits the target best",
	"do not rely on this":        "Do not rely on this yet.",
	"what a turn is for":         "For longer exposures, and to keep the field from creeping over the night:",

	"the gear wobbles by":         "The gear wobbles by {} every {}, at its fastest by {} a second.",
	"the gear wobbles by no more": "The gear wobbles by no more than {}.",
	"the gear was not measured":   "The gear was not measured: that takes a quarter of an hour of pictures.",
	"the motor turns at":          "The motor turns at {} of the stars' speed.",
	"a situation":                 "{}: {}",
	"a situation, from":           "{} (from {}): {}",
	"more reasons":                "pictures not used for {} more reasons: --json has them all",
	"not used, why":               "not used: {}: {}",

	"the truth lies between":                 "Allowing for what is not known of the mount, the truth lies between {} and {} two times in three.",
	"round again":                            "From {} to {} they are round again, because the gear swings back; in between they are not.",
	"assumed":                                "Assumed: {}.",
	"what round means, by length":            "Round means at most {} times as long as wide. Trail and length hold for {} of 100 exposures.",
	"what round means, by length, and where": "Round means at most {} times as long as wide; {} is worst. Trail and length hold for {} of 100 exposures.",
	"what round means":                       "Round means at most {} times as long as wide, typically and over nine tenths of the picture. Angles are clockwise from horizontal.",
	"on a bare tripod":                       "On a bare tripod: {}. Rules of thumb for that: 500 rule {}; NPF rule {}. Why they differ: trueturn help exposures.",
	"needs the size":                         "needs the 35 mm equivalent, or the picture's size",
	"needs the lens":                         "needs the real focal length, the pixel pitch and the f-number",
	"so long":                                "{}",
	"from sharp to trails":                   "{} (sharp) to {} (trails show)",

	"a cause":               "{}: {}",
	"leave out":             "leave out: {}",
	"would have been round": "would have been round: {}",
	"round at":              "{} at {}",
	"round of all at":       "{} of {} at {}",
	"times the length":      "{} times the length",

	"pictures written":     "{} pictures in {}: {} to {}",
	"taken from, to":       "taken from {} to {}",
	"the camera stood":     "the camera stood still",
	"the axis pointed":     "the axis pointed {} and {}; see {}",
	"the knobs brought":    "The knobs brought the axis from {} to {} off the pole.",
	"longer than before":   "Stars stay round for {}{} now; before the turn, for {}.",
	"stopped":              "stopped; the session is kept in {}",
	"how live is taken up": "and goes on when live is started the same way",
}
