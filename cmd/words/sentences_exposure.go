package words

import "trueturn/ephem/say"

// exposures: how long stars stay round, and why they were not.
var exposures = map[say.Key]string{
	// How long, in one figure, and behind it what it rests on.
	"round at no length":                     "Not round at any length",
	"round for":                              "Round for {}",
	"round for, on most gears":               "Round for {} on most gears",
	"on most gears, this one unseen":         " on most gears (yours unknown)",
	"on most gears, between two lengths":     " on most gears ({} to {} from gear to gear; yours unknown)",
	"on most gears, from one length on":      " on most gears ({} to {} and more from gear to gear; yours unknown)",
	"between two lengths":                    " ({} to {})",
	"stars stay round for":                   "Stars stay round for {}{}.",
	"no exposure keeps stars round":          "No exposure keeps stars round: even a hundredth of a second is too long.",
	"stars long before the mount moves them": "Even before the mount moves them, stars are {} times as long as wide, too long to count as round: fix focus, lens or shake first. What is said of exposures is about the mount alone.",

	// What would help.
	"gain":                            "{} lengthens exposures from {} to {}.",
	"gain up to a limit":              "{} lengthens exposures from {} to {}; after that, {} is the limit.",
	"turning the tilt":                "Turning the tilt by {}",
	"turning the base":                "Turning the base by {}",
	"turning both knobs":              "Turning both knobs onto the pole",
	"turning the axis to the pole":    "Turning the axis to the pole",
	"turning the axis to the pole by": "Turning the axis to the pole by {}",
	"measuring the axis better":       "Measuring the axis better",
	"setting the rate right":          "Setting the motor's rate right",
	"nothing to turn gains":           "Exposures are limited to {} by {}; nothing you can turn gains more than a tenth.",
	"a shorter lens gains":            "A shorter lens does.",
	"the sky limits a tripod":         "On a tripod, the turning sky limits exposures to {}.",
	"limit: nothing known":            "nothing known",
	"limit: the axis":                 "the axis",
	"limit: the gear":                 "the gear",
	"limit: the unseen gear":          "what is not known of the gear",
	"limit: the rate":                 "the motor's rate",
	"limit: the turning field":        "the turning of the picture",
	"limit: the air":                  "the air, which lifts low stars more than high ones",
	"limit: the sky":                  "the turning sky",

	// Where in the picture.
	"the top left corner":     "the top left corner",
	"the top right corner":    "the top right corner",
	"the bottom left corner":  "the bottom left corner",
	"the bottom right corner": "the bottom right corner",
	"the top edge":            "the top edge",
	"the bottom edge":         "the bottom edge",
	"the left edge":           "the left edge",
	"the right edge":          "the right edge",
	"the middle":              "the middle",

	// Why not round.
	"trails along right ascension":                   "Stars trail along right ascension{}: {}.",
	"trails along declination":                       "Stars trail along declination{}: {}.",
	"trails along declination that nothing explains": "Stars trail along declination{}. The axis measured does not explain it, and nothing gave way between the pictures: something moves the camera while it exposes.",
	"trails of a standing camera":                    "Stars trail along right ascension{}, as the sky itself turns: the camera stood still. In {} that draws them out by {} ({} measured), {} of the excess.",
	"trails of stars not recognised":                 "All stars trail the same way, but they were not recognised, so it cannot be said whether that is right ascension or declination.",
	"by so much a minute":                            " by {} a minute",
	"the picture turns":                              "Stars are drawn out along circles: the picture turns during the exposure, because the axis is off.",
	"the lens draws along circles":                   "Stars are drawn out along circles about the middle, more toward the corners, and more than the sky's turn explains: the lens.",
	"the lens draws outward":                         "Stars are drawn out from the middle, more toward the corners, the same in all pictures: the lens.",
	"stars are wide":                                 "Stars are wide in every direction: out of focus, or dew on the lens.",
	"each picture trails another way":                "All stars of a picture trail alike, but each picture in another direction: {}.",
	"wind or a knock":                                "wind or a knock",
	"far fewer stars":                                "Far fewer stars than in the other pictures: cloud, or dew on the lens.",
	"no stars measured":                              "No stars could be measured{}.",
	"no stars measured in some pictures":             "In {} of {} pictures no stars could be measured{}.",
	"for a reason":                                   ": {}",
	"not round in no known way":                      "The stars are not round, and no known cause fits.",
	"origin: rate":                                   "the motor's rate",
	"origin: gear":                                   "the gear's wobble",
	"origin: axis":                                   "an axis that is off",
	"origin: something gives":                        "a slipping clamp or a bending holder (the axis measured does not explain it)",
	"origin: wrong hemisphere":                       "twice as fast as the sky turns; the hemisphere switch is wrong",
	"one or the other":                               "{} or {}",
	"one of three":                                   "{}, {} or {}",
	"only an axis tells them apart":                  "{}; only a measured axis can tell them apart",

	// Whether they are stars.
	"the pictures are black":           "The pictures are black: the lens was capped, or the exposure far too short.",
	"too few spots to be stars":        noStars + "fewer than {} clear spots could be anything.",
	"spots of many widths":             noStars + "their widths differ too much.",
	"spots drawn out each another way": noStars + "each is drawn out in another direction.",
	"spots in rows or heaps":           noStars + "they lie in rows or clumps.",
	"spots not the more the fainter":   noStars + "the faint ones do not outnumber the bright ones.",
	"one picture may not show stars":   "In one picture nothing says that the spots are stars; it was not judged.",
	"some pictures may not show stars": "In {} nothing says that the spots are stars; they were not judged.",

	// What to do about it.
	"no exposures to look at":                                   "There are no exposures to look at.",
	"the one is round":                                          "It is round: go on.",
	"all are round":                                             "All {} are round: go on.",
	"so many are round":                                         "{} of {} are round.",
	"as the mount stands, stars stay round for":                 "As the mount stands, stars stay round for {}{}.",
	"a standing camera's stars stay round for":                  "The camera stood still, so stars stay round for {}{}.",
	"tighten clamps and holder":                                 "The axis measured is not to blame: tighten clamps and holder, and take weight off them.",
	"shelter the mount while it exposes":                        "Something moves the camera while it exposes, wind or a hand: use a self-timer and shelter the mount.",
	"measure the axis and turn it":                              "The axis is off: measure it with align and turn it.",
	"measure the axis and turn it, the picture turns":           "The picture turns because the axis is off: measure it with align and turn it.",
	"turn the axis, it drifts along right ascension":            "The axis makes the stars drift along right ascension here: turn it with align.",
	"measure the axis to tell which":                            "The motor's rate, the gear or the axis makes the stars drift along right ascension: measure the axis with align to tell which.",
	"leave out what the gear drew out":                          "The gear's wobble draws the stars out: leave out the files named.",
	"check the motor's rate":                                    "The motor does not keep pace with the sky: check that it is set to the star (sidereal) rate.",
	"set the hemisphere switch":                                 "The stars run twice as fast as the sky: set the hemisphere switch to your side of the equator.",
	"stop the lens down":                                        "The lens draws stars out in the corners: stop it down by one or two stops, or crop; shorter exposures do not help.",
	"stop the lens down and expose a standing camera for less":  "The camera stood still while the sky turned, and the lens draws stars out in the corners too: expose for at most {}, and stop the lens down or crop.",
	"expose a standing camera for less, or start the mount":     "The camera stood still while the sky turned: on a tripod expose for at most {}; on a mount, start it.",
	"expose a standing camera more briefly, or start the mount": "The camera stood still while the sky turned: on a tripod expose more briefly; on a mount, start it.",
	"focus again":                                               "Focus again on a bright star, and look for dew on the lens.",
	"shelter the mount":                                         "Something shakes the mount: shelter it from wind, use a self-timer, weigh the tripod down. Leave out the files named.",
	"leave out what clouds took":                                "Clouds or dew took the stars: leave out the files named, and look at the sky and the lens.",
	"or expose for":                                             "Or expose for {}: {} of {} would have been round.",
	"or expose for a share of the time":                         "Or expose for {} of the time: {} of {} would have been round.",
}

const noStars = "Nothing says that the spots in these pictures are stars, so nothing is judged: none was recognised, and "

// RulesDiffer says why the trade's rules of thumb and ours differ.
const RulesDiffer = "The 500 rule counts the picture's size alone, whatever its pixels or the declination, and lets stars trail by many pixels; " +
	"the NPF rule adds blur of aperture, lens and pixel, but takes a typical lens's; ours takes the width your stars really have and the tolerance you set."
