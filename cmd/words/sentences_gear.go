package words

import "trueturn/ephem/say"

// gears: how evenly the gear runs, by the pictures, and how it is reckoned with.
var gears = map[say.Key]string{
	"gear reckoned with as usual":    "The gear is not known and is taken to be like those of most small mounts: a wobble of {} in {}, give or take a factor of {}.",
	"gear reckoned with as bounded":  "The gear was only partly measured, so a wobble of {} in {} is assumed.",
	"gear reckoned with as measured": "The gear is taken as measured: a wobble of {} in {}.",
	"gear reckoned with as told":     "The gear is taken as given: a wobble of {} in {}.",
	"gear told to run evenly":        "The gear is taken to run evenly, as given.",
	"what shows a gear":              "Half an hour of pictures without a swing shows it.",

	"the gear wobbles":           "The gear wobbles: {} periods of {} were seen, {} from peak to peak, at its fastest {} a second.",
	"another period fits better": "But a period of {} fits far better than the one given: is that one right?",
	"several periods fit":        "The gear wobbles ({3}), but any period from {1} to {2} fits about as well. Take more pictures, without gaps.",
	"a wave at the edge":         "The gear wobbles in about {}, at the edge of what the pictures can show, but they do not show by how much ({}). More pictures would.",

	"a part of the gear's period seen":            "Only {} of the gear's period of {} was seen.",
	"its size unknown from so short a span":       "So short a span does not show how far it wobbles.",
	"its size within limits":                      "Its wobble is {}, at its fastest {} a second.",
	"too few periods seen":                        "Fewer than {} periods of the gear were seen: its wobble is {}, at its fastest {} a second, if its period is no longer than {}.",
	"something moves, slow waves unknown":         "Something moves the camera about the axis ({}), but so short a span does not show slow waves.",
	"a wave that fits":                            "One wave that fits is {} in {}.",
	"one of many waves that fit":                  "One wave that fits is {} in {}, but it is one of many.",
	"looks like a wrong rate":                     "So slow a wave looks like a wrong rate.",
	"follow for so much more":                     "Follow the stars for {} more.",
	"follow for so much more, or give the period": "Follow the stars for {} more, or give the gear's period.",
	"any size":          "of unknown size",
	"from peak to peak": "{} from peak to peak",
	"at least":          "at least {}",
	"at most":           "at most {}",
	"between":           "between {} and {}",

	"no wobble seen":                                  "No wobble of the gear was seen: at most {} from peak to peak at periods from {} to {}.",
	"a slower one may hide":                           "A slower one, with a period up to {}, looks like a wrong rate and may be {}.",
	"a slower one looks like a rate":                  "A slower one would look like a wrong rate.",
	"nothing known of slower ones":                    "Nothing can be said of slower ones: follow the stars for {} in all.",
	"no wobble seen at the gear's period":             "No wobble was seen at the gear's period of {}: at most {} from peak to peak.",
	"no wobble seen, too short for the gear's period": "No wobble of the gear was seen, but so short a span cannot show one of {}: follow the stars for {} in all.",
	"no wobble seen, nor could one be":                "No wobble of the gear was seen, nor can these pictures show one: take more, over a quarter of an hour.",

	"too few angles for a wobble":                   "Too few pictures could be used to see the gear's wobble ({}): take {} or more over a quarter of an hour.",
	"too few pictures between touches for a wobble": "Too few pictures lie between touches to see the gear's wobble: leave the mount alone for a quarter of an hour.",
	"all pictures have the same time":               "All pictures have the same time: nothing can be said of the gear's wobble.",
	"pictures of several nights":                    "The pictures lie {} days apart, too far to see the gear's wobble: take those of one night.",
	"angles on a line to the last digit":            "The angles about the axis lie exactly on a line: nothing can be said of the gear's wobble.",
}
