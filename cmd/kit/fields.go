package kit

// field is one figure of the file.
type field struct {
	key       string
	low, high float64
	whole     bool // a whole number
	zone      bool // a text that Zone takes
	required  bool
}

// number is a figure of any size between limits.
func number(key string, low, high float64) field { return field{key: key, low: low, high: high} }

// fields are all figures there are, with the limits of the flags they stand for.
var fields = map[Section][]field{
	Sites: {
		{key: "latitude_deg", low: -90, high: 90, required: true},
		{key: "longitude_deg", low: -180, high: 180, required: true},
		number("height_m", -500, 9000),
		{key: "tz", zone: true},
	},
	Cameras: {
		number("pixel_pitch_um", 0.2, 200),
		{key: "width_px", low: 1, high: 200e6, whole: true},
		{key: "height_px", low: 1, high: 200e6, whole: true},
		number("read_noise_e", 0.01, 1000),
		number("wander_px", 0.001, 100),
	},
	Lenses: {
		number("focal_length_mm", 0.5, 10000),
		number("equivalent_mm", 4, 20000),
		number("f_number", 0.3, 128),
	},
	Mounts: {
		number("period_s", 1, 1e5),
		number("peak_to_peak_arcsec", 0.001, 36000),
		number("altitude_arcmin_per_turn", 0.01, 21600),
		number("azimuth_arcmin_per_turn", 0.01, 21600),
		number("play_arcmin", 0.001, 600),
		number("rim_mm", 1, 10000),
		number("leg_mm", 1, 100000),
	},
	defaults: {
		number("max_elongation", 1.001, 10),
		number("share", 0.01, 1),
		number("planned_s", 0.001, 3600),
	},
}

// defaults is the section without names.
const defaults Section = "defaults"

func keysOf(s Section) (keys []string) {
	for _, f := range fields[s] {
		keys = append(keys, f.key)
	}
	return keys
}

func fieldOf(s Section, key string) (field, bool) {
	for _, f := range fields[s] {
		if f.key == key {
			return f, true
		}
	}
	return field{}, false
}
