package words

import "trueturn/ephem/say"

// situations are what package align says: what is amiss, and the questions of place and clock.
var situations = map[say.Key]string{
	// The camera and what holds it.
	"camera gave way":      "The camera gave way by {} while these pictures were taken: its clamp or ball slips. Tighten it, then measure again.",
	"camera's clamp gives": "The camera gave way {} in the same direction, {} in all: its clamp or ball slips. Tighten it, then measure again.",
	"camera jumps to and fro": "The camera jumped across the axis {}, by up to {}: a guider or a second motor is at work, or something sticks and lets go. " +
		"Switch guiding off, tighten, then measure again.",
	"camera loose": "The camera does not keep still on the mount: it jumps by {} from picture to picture and fits no steady axis. " +
		"Tighten clamp and ball, and switch the stabiliser off.",
	"camera crept": "The camera crept by about {} while these pictures were taken ({} an hour), or something was touched. " +
		"Tighten clamp and ball, balance the camera, wait two minutes, then measure again with swings.",
	"something settled": "Something settled by about {}, two thirds of it in the first {}: a tripod leg or the ball. " +
		"Tighten, wait two minutes after every touch, then measure again.",
	"holder bends": "The holder bends as it turns, by {} or more over 30°. The axis given is the one the camera turns about here, so measure where you will photograph. " +
		"A shorter arm, a balanced camera and a tied-down cable reduce the bend.",
	"clock or place leave the same": "A wrong clock or place would look the same: are both right?",
	"table fits no axis": "The directions of the table fit no steady axis: they scatter far more than their errors say. " +
		"Check the table's times and sigma_arcsec; if they are right, tighten clamp and ball.",
	"pictures fit no axis": "The pictures fit no steady axis, and do not show why. Tighten clamp and ball, balance the camera, and measure again, hands off. " +
		"Swings would show more.",

	// What parts a session.
	"knocked":                             "Tripod or camera was knocked by {} before {}.",
	"knocked, or clock set":               "Tripod or camera was knocked by {} before {}, or the camera's clock was set {}: was it?",
	"axis moved by a knock or both knobs": "The axis moved by {} before {}: the tripod was knocked, or both knobs were turned.",
	"pictures after the knock count":      "The pictures before and after it were measured apart; those after it count.",
	"three more after the knock":          "What came before counts for little now: take three more pictures, hands off.",
	"knock spoils the axis":               "Tripod or camera was knocked by {} before {}. That spoils the axis found: measure again, hands off.",
	"axis moves as by the clock": "Before {} the axis seems to move by {} about the pole. No hand moves it like that, but a clock set {} does. Only the pictures after that count; " +
		"if the clock was right before, they are the wrong ones.",
	"axis another since aimed anew": "When the camera was re-aimed before {}, the axis moved by {}: the holder bends, or the axis was touched. Measure where you will photograph.",
	"axis turned":                   "The axis was turned before {}, {}. Only the pictures after it say where it points now.",
	"lens changed":                  "The lens, crop or picture size changed before {}: phones switch cameras in the dark. Fix the lens in the camera's settings.",
	"axis does not suffer":          "The axis found is not affected.",
	"aimed anew":                    "The camera was re-aimed before {}, by {} other than about the axis. Both parts are used.",
	"left out, too low":             "{} looked only {} above the horizon, where it is not known well enough how the air bends the view. It was left out.",
	"left out, shaken":              "{} is off by {} and was left out: a touch or a gust shook it. Use the self-timer.",
	"left out, another field":       "{} shows another part of the sky, {} away, and was left out. If it belongs to another session, take it away.",

	// Ways of an axis, of a turn, and of a clock.
	"both ways":        "{} and {}",
	"up":               "{} up",
	"down":             "{} down",
	"clockwise by":     "{} clockwise seen from above",
	"anticlockwise by": "{} anticlockwise seen from above",
	"toward east":      "{} (toward east)",
	"toward west":      "{} (toward west)",
	"forward by":       "forward by {}",
	"back by":          "back by {}",
	"about":            "about {}",

	// The motor.
	"motor stands":            "The camera stands still while the stars move on at 15″ a second. Switch the motor on, close the clutch, and wait a minute for the gear to take hold.",
	"motor runs backward":     "The mount turns backward: the stars run past at 30″ a second. Set the hemisphere switch (N/S) to the other side and measure again.",
	"motor's rate":            "The motor runs at {} of the star rate, so stars trail by {}.",
	"switch to the star rate": "That is the {} rate: switch to the star (sidereal) rate.",
	"half rate":               "half",
	"lunar rate":              "lunar",
	"solar rate":              "solar",
	"double rate":             "double",
	"check the rate switch":   "Check the rate switch, the battery and the clutch.",
	"motor takes up play": "The axis stood still for about {} before it turned: the motor was taking up play after the start or the swing. " +
		"Wait that long before the first exposure.",
	"clutch slips": "The axis jumped {}, by up to {}: the clutch or clamp slips, or it was touched. Tighten the clutch and balance the camera.",

	// Sky and lens.
	"too bright":                      "Too much light for stars in {}: daylight, twilight or a lamp. Wait for the dark or expose more briefly; never point the lens near the Sun.",
	"black":                           "Nothing but black in {}: take the cap off the lens, and expose for some seconds.",
	"cloud":                           "Cloud took the stars from {}. Check the sky before the next exposure.",
	"cloud, bridged":                  "Cloud took the stars from {}. The gap is bridged; check the sky before the next exposure.",
	"stars gone to the end":           "The stars are gone from {}, to the end: cloud, dew, or something before the lens. Look at sky and lens before you go on.",
	"stars wider":                     "Stars grew {} wider during the session: dew or lost focus.",
	"stars wider and fewer":           "Stars grew {} wider during the session, and {} of them were lost: dew or lost focus.",
	"wipe and focus":                  "Wipe and warm the lens, refocus on a bright star, then measure again.",
	"stars fewer":                     "{} of the stars were lost during the session: dew, haze or twilight. Wipe and warm the lens, look at the sky, then measure again.",
	"aimed low":                       "The camera looked only {} above the horizon, where the air bends the view. Aim above 25°.",
	"higher, or clock or place wrong": "If it looked higher, the clock or the place is wrong.",
	"stacked inside": "Stars are round although the camera's own motion must have drawn them out: the phone stacks or aligns pictures inside. " +
		"Switch its night or star mode off, or save raw. These pictures cannot show whether stars stay round.",
	"moved onto each other": "The picture's middle stays on the same stars while the field turns by {}: the phone shifts pictures to match. Switch that off. " +
		"Only the turn is real, and no axis can be trusted.",

	// An axis not sure enough.
	"turned too little":               "The mount turned only {} during the pictures, so the axis is known only to ± {}. Swing it 20–60° by hand between pictures, or go on for about {} more.",
	"too short, followed":             "These pictures show the axis only to ± {}. Go on for about {} more on the same field.",
	"weak direction":                  "One direction ({}) is known only to ± {}, the other to ± {}.",
	"mostly base":                     "mostly base",
	"mostly tilt":                     "mostly tilt",
	"tilt and base mixed":             "tilt and base mixed",
	"other patch or swing":            "{}, or swing the axis 30° by hand: either cures it.",
	"other patch as a run of its own": "{}, as a separate run with its own place in the sky: it shows what this field hides.",
	"pictures toward":                 "Take some pictures toward the {}, about {}° up",
	"aim far from the pole":           "Aim far from the pole",

	// What the sky says of place and clock.
	"air as at another site":              "The air lifts the stars as it would with {}, not as at the site given.",
	"air as at another time":              "The air lifts the stars as it would with {}, not as at the time given.",
	"air not as at the time given":        "The air does not lift the stars as it would at the time given. The clock is wrong; the best fit is {}.",
	"air not as at place and time given":  "The air does not lift the stars as it would at the place and time given. The best fit is {}.",
	"place or clock, or the holder bends": "The place or the clock is wrong (the best fit is {}), or the holder bends: both look the same here.",
	"with latitude's sign changed":        "the latitude's sign changed",
	"with longitude's sign changed":       "the longitude's sign changed",
	"with both signs changed":             "both signs changed",
	"with both exchanged":                 "latitude and longitude exchanged",
	"with the clock slow":                 "the clock {} slow",
	"with the clock fast":                 "the clock {} fast",
	"no stars by day":                     "At this site and time the Sun was up or had hardly set: the place or the clock must be wrong.",
	"below the horizon":                   "At this site and time, what these pictures show was below the horizon: the place or the clock must be wrong.",
	"could be with":                       "It would fit with {}.",
	"sky against place or clock":          "The sky speaks against the place or the time, as said below. Are the site, the camera's clock and its time zone right?",
	"axis seldom so far off":              "The axis comes out {} off, which is rarely true, and a wrong place or time sends the turn astray. Are the site, the camera's clock and its time zone right?",
	"if so":                               "If so",

	// What the other place or time would change.
	"other leaves the axis": "With {} the axis would be the same to within {}.",
	"other moves the axis":  "With {} the axis would be {} away, and the turns would be: base {}; tilt {}.",
	"GPS time":              "GPS time",
	"zone given":            "the zone given",
	"UTC and":               "UTC{}",
	"site given":            "the site given",
	"pictures' place":       "the pictures' place",
	"that place":            "that place",
	"earlier clock":         "the earlier clock",
	"later clock":           "the later clock",

	// The clock against the files.
	"ahead of GPS":                     "The time of the pictures is {} ahead of the GPS time in them.",
	"behind GPS":                       "The time of the pictures is {} behind the GPS time in them.",
	"as a wrong zone":                  "A wrong zone or summer time set in the camera does that.",
	"camera's time used":               "The camera's time is used, because GPS times may be old or not in UTC.",
	"camera's time or GPS?":            "Which time is right for {}: {}, by the camera's clock, or {}, by GPS?",
	"if the camera's is right":         "If the camera's is right",
	"zone by GPS":                      "The zone given, UTC{}, is not that of the pictures: by GPS time their clock was at UTC{}, which is used.",
	"zone in the pictures":             "The zone given, UTC{}, is not that of the pictures: they state UTC{}, which is used, because the camera wrote it with each time.",
	"zone in the pictures and by GPS":  "The zone given, UTC{}, is not that of the pictures: they state UTC{}, which is used, and GPS time confirms it.",
	"pictures' zone or the one given?": "Was the camera's clock at UTC{}, as its pictures say, or at UTC{}, as given?",
	"if the pictures are right":        "If the pictures are right",
	"clocks changed":                   "The clocks of the zone given were changed within half a day of these pictures. The camera's was taken to be at UTC{}, as the zone had it then.",
	"before or after the change?":      "The clocks were changed that night: was the camera's at UTC{} or at UTC{}?",
	"if at UTC and":                    "If at UTC{}",
	"clock set back":                   "The camera's clock was set {} before {}: by their numbers these pictures came after the others, by their times before.",
	"clock set forward":                "The camera's clock was set {} before {}: the numbers run on one by one, and the times keep their interval but for whole hours.",
	"all by one clock":                 "All times go by {}:",
	"added to the times":               "{} was added to the times of {}.",
	"taken off the times":              "{} was taken off the times of {}.",
	"some by one clock":                "By exactly how much cannot be told, so only the pictures by {} count.",
	"GPS agrees with":                  "GPS times agree with {}.",
	"earlier or later clock?":          "The camera's clock was set {} before {}: which was right, the earlier or the later?",
	"if the earlier":                   "If the earlier",
	"if the later":                     "If the later",

	// The place against the files.
	"some taken elsewhere":               "In {} the place is {}, {} from that in the others, {}.",
	"site given agrees with the others":  "The site given is used, and agrees with the others.",
	"others' place used":                 "The others' place is used.",
	"most or the rest?":                  "Which place is right: {}, as most of the pictures say, or {}, as the rest say, {} away?",
	"if that of most is right":           "If the one most of them say is right",
	"site given and pictures apart":      "The site given, {}, lies {} from where the pictures say they were taken, {}.",
	"latitude's sign":                    "The sign of the latitude given looks wrong.",
	"longitude's sign":                   "The sign of the longitude given looks wrong.",
	"both signs":                         "Both signs of the site given look wrong.",
	"exchanged":                          "Latitude and longitude look exchanged.",
	"exchanged and a sign":               "Latitude and longitude look exchanged, and a sign is wrong.",
	"pictures' place used":               "The pictures' own place is used.",
	"site given used":                    "The site given is used.",
	"other is ruled out":                 "Seen from the other place, these stars were below the horizon then.",
	"place in pictures may be old":       "The place in a picture may be an old one.",
	"as the pictures say, not as given?": "Were these pictures taken at {}, as they say, and not at {}, as given?",
	"as given or as the pictures say?":   "Which place is right: {}, as given, or {}, as the pictures say, {} away?",
	"if the one given is right":          "If the one given is right",
	"zone of another place":              "The zone of the pictures' clock, UTC{}, is in use nowhere near {}, the site given, but at {}.",
	"as given or where the zone is?":     "Is the site right: {}, as given, or should it be {}, where the zone of the pictures' clock, UTC{}, is in use?",
	"if it is right":                     "If it is right",
}
