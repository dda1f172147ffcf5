package words

import "trueturn/ephem/say"

// acts are orders at a glance, nine words at most; stages are where a session stands.
var acts = map[say.Key]string{
	"act: begin":              "Take a picture of any stars",
	"act: one more":           "Hands off: one more picture",
	"act: so many more":       "Hands off: {} more pictures",
	"act: many more":          "Hands off: many more pictures",
	"act: another":            "Hands off, and take another picture",
	"act: swing":              "Swing the axis by 30°, take a picture",
	"act: start":              "Start now",
	"act: start, shorter":     "Start, with {} exposures",
	"act: point at the pole":  "Point the axis at the pole by hand",
	"act: mend what is amiss": "Something is amiss",
	"act: question":           "A question first",
	"act: not used":           "That picture was not used",
	"act: give the place":     "Say where the mount stands",
	"act: raise":              "Raise the tilt: {}",
	"act: lower":              "Lower the tilt: {}",
	"act: base left":          "Turn the base left: {}",
	"act: base right":         "Turn the base right: {}",
	"act: clamp":              "Tighten the clamps, then hands off",

	"act: switch on":         "Switch the motor on",
	"act: hemisphere":        "Set the hemisphere switch the other way",
	"act: star rate":         "Set the motor to the star rate",
	"act: tighten":           "Tighten clutch and clamps",
	"act: no stacking":       "Switch stacking off in the phone",
	"act: wait for the dark": "Wait for the dark",

	"stage: waiting":          "Waiting for the first picture",
	"stage: measuring":        "Measuring",
	"stage: measuring, more":  "Measuring, {} more",
	"stage: turning the base": "Turning the base",
	"stage: turning the tilt": "Turning the tilt",
	"stage: untouched":        "Hands off",
	"stage: untouched, more":  "Hands off, {} more",
	"stage: round already":    "{} stay round already. To gain more:",
	"stage: ready":            "Ready",
}
