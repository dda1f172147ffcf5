package words

import "trueturn/ephem/say"

// gears: how evenly the gear runs, by the pictures, and how it is reckoned with.
var gears = map[say.Key]string{
	"gear reckoned with as usual":    "Nobody has seen the gear: it is reckoned with as those of small mounts usually are, a wobble of {} in {}, by a factor of {} more or less.",
	"gear reckoned with as bounded":  "The gear was not fully seen: it is reckoned with a wobble of {} in {}.",
	"gear reckoned with as measured": "The gear is reckoned with as measured: a wobble of {} in {}.",
	"gear reckoned with as told":     "The gear is reckoned with as told: a wobble of {} in {}.",
	"gear told to run evenly":        "The gear is taken to run evenly, as told.",
	"what shows a gear":              "Half an hour of pictures without a swing shows it.",

	"the gear wobbles":           "The gear wobbles: {} periods of {} were seen, {} from peak to peak, at its fastest {} a second.",
	"another period fits better": "But a period of {} fits far better than the one given: is it this mount's?",
	"several periods fit":        "The gear wobbles, but periods from {} to {} fit about as well, {}. Take more pictures, without gaps.",
	"a wave at the edge":         "The gear wobbles in about {}, at the edge of what the pictures can tell, but they do not tell by how much: {}. More pictures would.",

	"a part of the gear's period seen":            "Only {} of a period of the gear's {} was seen.",
	"its size unknown from so short a span":       "How far it wobbles cannot be said from so short a span.",
	"its size within limits":                      "Its wobble is {}, at its fastest {} a second.",
	"too few periods seen":                        "Less than {} periods of the gear were seen: {}, at its fastest {} a second, if its period is no longer than {}.",
	"something moves, slow waves unknown":         "Something moves the camera about the axis, but so short a span says nothing of slow waves: {}.",
	"a wave that fits":                            "One wave that fits has {} in {}.",
	"one of many waves that fit":                  "One wave that fits has {} in {}, but it is one of many.",
	"looks like a wrong rate":                     "So slow a wave looks like a wrong rate.",
	"follow for so much more":                     "Follow the stars for {} more.",
	"follow for so much more, or give the period": "Follow the stars for {} more, or give the gear's period.",
	"any size":          "its size may be any",
	"from peak to peak": "{} from peak to peak",
	"at least":          "at least {}",
	"at most":           "at most {}",
	"between":           "between {} and {}",

	"no wobble seen":                                  "No wobble of the gear was seen: at most {} from peak to peak at periods from {} to {}.",
	"a slower one may hide":                           "A slower one, of up to {}, looks like a rate and may have {}.",
	"a slower one looks like a rate":                  "A slower one would look like a rate.",
	"nothing known of slower ones":                    "Nothing can be said of slower ones: follow the stars for {} in all.",
	"no wobble seen at the gear's period":             "No wobble was seen at the gear's period of {}: at most {} from peak to peak.",
	"no wobble seen, too short for the gear's period": "No wobble of the gear was seen, but so short a span cannot show one of {}: follow the stars for {} in all.",
	"no wobble seen, nor could one be":                "No wobble of the gear was seen, nor can these pictures show one: take more, over a quarter of an hour.",

	"too few angles for a wobble":                   "Too few pictures could be used to see the gear's wobble ({}): take {} or more over a quarter of an hour.",
	"too few pictures between touches for a wobble": "Too few pictures lie between touches to see the gear's wobble: leave the mount alone for a quarter of an hour.",
	"all pictures have the same time":               "All pictures have the same time: nothing can be said of the gear's wobble.",
	"pictures of several nights":                    "The pictures lie {} days apart, too far to see the gear's wobble: take those of one night.",
	"angles on a line to the last digit":            "The angles about the axis lie on a line to the last digit: nothing can be said of the gear's wobble.",
}
