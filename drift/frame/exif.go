package frame

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"trueturn/ephem/amiss"
)

// exifTags are the EXIF fields this package uses, by the names exiftool has for
// them.
type exifTags struct {
	text   map[string]string
	number map[string]float64

	screenshot bool // a comment says so

	latitude, longitude, gpsTime []float64 // degrees, minutes, seconds or h, m, s; nil without
}

// The directories beside the first, EXIF 2.32 (CIPA DC-008-2019) §4.6.3.
const (
	tagExifIFD         = 0x8769
	tagGPSIFD          = 0x8825
	tagSubSecOriginal  = 0x9291
	tagSubSecDigitized = 0x9292
	tagUserComment     = 0x9286
	tagGPSLatitude     = 2
	tagGPSLongitude    = 4
	tagGPSTimeStamp    = 7

	subSecOriginalName  = "SubSecTimeOriginal"
	subSecDigitizedName = "SubSecTimeDigitized"

	maxExifTextBytes = 1024
)

// fieldNames names fields of a directory by their tags.
type fieldNames map[uint16]string

// The fields used, EXIF 2.32 tables 4, 7 and 15, by the directory they belong in.
// TIFF/EP (ISO 12234-2) keeps those of Exif in the first directory, and has tags
// of its own for the focal plane.
var (
	firstText   = fieldNames{0x010f: "Make", 0x0110: "Model", 0x0132: "ModifyDate"}
	firstNumber = fieldNames{0x0112: "Orientation"}
	exifText    = fieldNames{0x9003: "DateTimeOriginal", 0x9004: "CreateDate", 0x9010: "OffsetTime", 0x9011: "OffsetTimeOriginal",
		0x9012: "OffsetTimeDigitized", tagSubSecOriginal: subSecOriginalName, tagSubSecDigitized: subSecDigitizedName}
	exifNumber = fieldNames{0x829a: "ExposureTime", 0x829d: "FNumber", 0x920a: "FocalLength", 0xa405: "FocalLengthIn35mmFormat",
		0xa401: "CustomRendered", 0xa404: "DigitalZoomRatio", 0xa002: "ExifImageWidth", 0xa003: "ExifImageHeight", 0xa20e: "FocalPlaneXResolution", 0xa210: "FocalPlaneResolutionUnit"}
	epNumber  = fieldNames{0x920e: "FocalPlaneXResolution", 0x9210: "FocalPlaneResolutionUnit"}
	gpsText   = fieldNames{1: "GPSLatitudeRef", 3: "GPSLongitudeRef", 29: "GPSDateStamp"}
	gpsNumber = fieldNames{5: "GPSAltitudeRef", 6: "GPSAltitude"}
)

// exifTagsOf reads the tags of a TIFF structure: a whole TIFF file, or the
// block inside a JPEG or PNG. Each field is read by itself, so that damage and
// types nobody knows cost that field alone.
func exifTagsOf(src source) exifTags {
	t := exifTags{text: map[string]string{}, number: map[string]float64{}}
	first, ok := firstDirectory(src)
	if !ok {
		return t
	}
	t.read(first, firstText, firstNumber)
	if exif, ok := first.pointed(tagExifIFD); ok {
		t.read(exif, exifText, exifNumber)
		t.read(exif, firstText, firstNumber)
		t.readFocalPlane(exif)
		t.screenshot = exif.fields[tagUserComment].count <= maxExifTextBytes && bytes.Contains(exif.raw(tagUserComment), []byte("Screenshot"))
	}
	t.read(first, exifText, exifNumber)
	t.readFocalPlane(first)
	if gps, ok := first.pointed(tagGPSIFD); ok {
		t.read(gps, gpsText, gpsNumber)
		t.latitude, t.longitude, t.gpsTime = gps.triple(tagGPSLatitude), gps.triple(tagGPSLongitude), gps.triple(tagGPSTimeStamp)
	}
	return t
}

// read takes over what is not known yet.
func (t exifTags) read(d directory, text, number fieldNames) {
	for tag, name := range text {
		if s := d.text(tag); s != "" && t.text[name] == "" {
			t.text[name] = s
		}
	}
	for tag, name := range number {
		v := d.numbers(tag)
		if _, known := t.number[name]; !known && len(v) > 0 && v[0]-v[0] == 0 {
			t.number[name] = v[0]
		}
	}
}

// readFocalPlane reads TIFF/EP's tags where EXIF's are not there: a resolution
// means nothing with the unit of another.
func (t exifTags) readFocalPlane(d directory) {
	if _, known := t.number["FocalPlaneXResolution"]; !known {
		t.read(d, nil, epNumber)
	}
}

// triple reads three numbers. 0/0 in the second or third stands for "none"
// (common practice of cameras, no source); in the first it voids all.
func (d directory) triple(tag uint16) []float64 {
	v := d.numbers(tag)
	if len(v) != 3 {
		return nil
	}
	for i := range v {
		switch {
		case math.IsNaN(v[i]) && i > 0:
			v[i] = 0
		case !(v[i] >= 0) || math.IsInf(v[i], 0):
			return nil
		}
	}
	return v
}

// readEXIF takes over a block found in a JPEG or PNG; nil is none.
func (p *picture) readEXIF(block []byte) {
	p.readTags(exifTagsOf(source{ReaderAt: bytes.NewReader(block), size: int64(len(block))}))
}

// readTags fills all that EXIF says of the picture.
func (p *picture) readTags(t exifTags) {
	if o := t.number["Orientation"]; o >= 1 && o <= 8 {
		p.orient = int(o)
	}
	p.lens = t.lens(p.light.width, p.light.height)
	p.place = t.place()
	p.stamp = t.clock
	p.altered = t.altered(p.light.width, p.light.height)
}

// lens collects the optics. The pixel pitch is that of the sensor, enlarged
// when the picture was shrunk after its EXIF was written.
func (t exifTags) lens(width, height int) Lens {
	l := Lens{
		FocalLengthMM: plausible(t.number["FocalLength"], 0.5, 50000),
		EquivalentMM:  plausible(t.number["FocalLengthIn35mmFormat"], 3, 50000),
		FNumber:       plausible(t.number["FNumber"], 0.3, 500),
		Make:          t.text["Make"], Model: t.text["Model"],
	}
	// Unit of FocalPlaneXResolution, EXIF 2.32 §4.6.5; 4 and 5 are in use though
	// not in the standard.
	unitUM := map[float64]float64{0: 25400, 2: 25400, 3: 10000, 4: 1000, 5: 1}[t.number["FocalPlaneResolutionUnit"]]
	if r := t.number["FocalPlaneXResolution"]; r > 0 && unitUM > 0 {
		l.PixelPitchUM = plausible(unitUM/r, 0.2, 200)
	}
	l.zoom(t)
	s := t.sizes(width, height)
	l.PixelPitchUM = plausible(l.PixelPitchUM*s.shrunk(), 0.2, 200)
	l.EquivalentMM = plausible(l.EquivalentMM*s.cut(), 3, 50000)
	return l
}

// Digital zoom enlarges the middle of the picture to the size of all of it. Focal
// length and pitch speak of the sensor and know nothing of it. The equivalent length
// usually counts it (common practice of phones, no source); where it is the same as
// the other two make, it does not.
const (
	zoomed     = 1.05    // a digital zoom of less is none
	countsCut  = 1.3     // equivalents are rounded, and some counted over the width: one longer by more counts a crop
	diagonal35 = 43.2666 // mm, of 36×24 mm
)

// zoom lets the equivalent length stand alone where it counts a crop, or a digital
// zoom was used: the pitch is that of the sensor.
func (l *Lens) zoom(t exifTags) {
	z := max(1, t.number["DigitalZoomRatio"])
	w, h := t.number["ExifImageWidth"], t.number["ExifImageHeight"]
	if l.EquivalentMM == 0 || l.PixelPitchUM == 0 || l.FocalLengthMM == 0 || w <= 0 || h <= 0 {
		if z > zoomed {
			l.PixelPitchUM = 0
		}
		return
	}
	sensors := l.FocalLengthMM * diagonal35 / (l.PixelPitchUM / 1000 * math.Hypot(w, h))
	counts := l.EquivalentMM / sensors
	if z > zoomed && counts < math.Sqrt(z) { // nearer to 1 than to the zoom
		l.EquivalentMM *= z
	}
	if z > zoomed || counts > countsCut {
		l.PixelPitchUM = 0
	}
}

// sizes is how the size EXIF tells of compares with the picture's own, side by side;
// the zero value, when it tells of none.
type sizes struct{ across, down, diagonal float64 }

// sizes allows for an editor that turned the picture and left EXIF as it was.
func (t exifTags) sizes(width, height int) sizes {
	w, h := t.number["ExifImageWidth"], t.number["ExifImageHeight"]
	if w <= 0 || h <= 0 || width <= 0 || height <= 0 {
		return sizes{}
	}
	x, y := float64(width), float64(height)
	if turned := w * x / (h * y); math.Abs(turned-1) < sameShape {
		w, h = h, w
	}
	return sizes{w / x, h / y, math.Hypot(w, h) / math.Hypot(x, y)}
}

const sameShape = 0.01 // rounding of sides, and rows that converters add or leave out

func (s sizes) known() bool     { return s.across > 0 }
func (s sizes) sameShape() bool { return math.Abs(s.across/s.down-1) <= sameShape }

// shrunk is by how much the picture lost pixels against its EXIF size at the
// same shape; 1 when the two agree or the picture was cut.
func (s sizes) shrunk() float64 {
	if !s.known() || !s.sameShape() {
		return 1
	}
	return s.across
}

// cut is by how much a piece cut out, its pixels left as they were, shows less of
// the sky; 1 where it is none, or so large that a rounded length tells no difference.
func (s sizes) cut() float64 {
	if !s.known() || s.sameShape() || s.across < 1-sameShape || s.down < 1-sameShape || s.diagonal < 1.1 {
		return 1
	}
	return s.diagonal
}

const (
	renderedPanorama = 6         // of CustomRendered, as phones write it; not in the standard
	resized          = 1.03      // what converters add to the sides or leave out is less
	savedAnew        = time.Hour // a camera is done with a picture long before (our choice; no source)
)

// altered says by what the file shows that it is not the picture as the camera took
// it; "" when it shows nothing.
func (t exifTags) altered(width, height int) string {
	s := t.sizes(width, height)
	told := fmt.Sprintf("it has %d×%d pixels, and had %g×%g when it was taken", width, height, t.number["ExifImageWidth"], t.number["ExifImageHeight"])
	switch {
	case t.screenshot:
		return "the file is a screenshot"
	case t.number["CustomRendered"] == renderedPanorama:
		return alteredPanorama
	case s.known() && !s.sameShape():
		return "the picture was cut or edited: " + told
	case s.known() && s.across > resized:
		return "the picture is a smaller copy: " + told
	case s.known() && s.across < 1/resized:
		return "the picture is an enlarged copy: " + told
	case t.savedAnew():
		return "the picture was saved anew after it was taken, and may have lost faint stars"
	}
	return ""
}

const alteredPanorama = "the picture is a panorama, put together from several"

// savedAnew is whether the time of the last change is well after that of the taking.
func (t exifTags) savedAnew() bool {
	taken, err := parseStamp(t.text["DateTimeOriginal"])
	changed, err2 := parseStamp(t.text["ModifyDate"])
	return err == nil && err2 == nil && changed.time.Sub(taken.time) > savedAnew
}

// plausible returns 0, unknown, for a value outside its limits.
func plausible(v, low, high float64) float64 {
	if v >= low && v <= high {
		return v
	}
	return 0
}

// place is where the picture was taken: degrees, north and east positive.
type place struct{ latDeg, lonDeg, heightM float64 }

// place reads the GPS position. Exactly 0°, 0° is what cameras write without
// a fix, and is dropped.
func (t exifTags) place() *place {
	if t.latitude == nil || t.longitude == nil {
		return nil
	}
	p := place{latDeg: degrees(t.latitude), lonDeg: degrees(t.longitude), heightM: t.height()}
	if p.latDeg == 0 && p.lonDeg == 0 {
		return nil
	}
	switch t.text["GPSLatitudeRef"] {
	case "S", "s":
		p.latDeg = -p.latDeg
	}
	switch t.text["GPSLongitudeRef"] {
	case "W", "w":
		p.lonDeg = -p.lonDeg
	}
	return &p
}

// height is in metres above the sea; 0 for an unknown one.
func (t exifTags) height() float64 {
	if t.number["GPSAltitudeRef"] == 1 {
		return -t.number["GPSAltitude"]
	}
	return t.number["GPSAltitude"]
}

func degrees(dms []float64) float64 { return dms[0] + dms[1]/60 + dms[2]/3600 }

// clock reads DateTimeOriginal (else DateTimeDigitized) with its sub-second
// and offset. Without an offset the GPS time settles it, else the zone the
// user gave.
func (t exifTags) clock(o Options) (Clock, []string, error) {
	s, err := t.localStamp()
	if err != nil {
		return Clock{}, nil, err
	}
	exposure, _ := durationOf(t.number["ExposureTime"])
	told, err := t.told(s, o)
	if err != nil {
		return Clock{}, nil, err
	}
	start := o.Stamp.start(s.time.Add(-told.Offset), exposure)
	return Clock{Start: start, Exposure: exposure, Step: s.step, Source: "EXIF " + s.name + ", " + offsetWords[told.Zone], Told: told}, s.notes, nil
}

// start carries a stamp to the beginning of the exposure.
func (s Stamp) start(t time.Time, exposure time.Duration) time.Time {
	switch s {
	case StampMiddle:
		return t.Add(-exposure / 2)
	case StampEnd:
		return t.Add(-exposure)
	}
	return t
}

// localStamp is a time as the camera's clock showed it, in a zone not yet
// known (kept as if UTC).
type localStamp struct {
	time   time.Time
	step   time.Duration
	name   string
	offset string // as written; may be empty
	notes  []string
}

func (t exifTags) localStamp() (localStamp, error) {
	for _, tag := range []struct{ name, subSec, offset string }{
		{"DateTimeOriginal", subSecOriginalName, "OffsetTimeOriginal"},
		{"CreateDate", subSecDigitizedName, "OffsetTimeDigitized"},
	} {
		text := t.text[tag.name]
		if isBlankStamp(text) {
			continue
		}
		d, err := parseStamp(text)
		if err != nil {
			return localStamp{}, noClock(fmt.Sprintf("the EXIF time %q is no valid time", text), amiss.Times)
		}
		s := localStamp{time: d.time, step: d.step, name: tag.name, offset: cmp.Or(t.text[tag.offset], t.offsetOfChange(d.time))}
		if d.zone != "" {
			s.offset = d.zone
		}
		if tag.name == "CreateDate" {
			s.name = "DateTimeDigitized"
		}
		s.addSubSec(t.text[tag.subSec])
		return s, nil
	}
	return localStamp{}, noClock("the file says no time at which it was taken", amiss.Times)
}

// offsetOfChange is OffsetTime, which belongs to the time of the last change,
// where that is the time of taking too: cameras that write no other offset.
func (t exifTags) offsetOfChange(taken time.Time) string {
	changed, err := parseStamp(t.text["ModifyDate"])
	if err != nil || changed.time.Sub(taken).Abs() > 10*time.Minute {
		return ""
	}
	return t.text["OffsetTime"]
}

// isBlankStamp reports a stamp that stands for "unknown": spaces (EXIF 2.32
// §4.6.5), or zeros as many cameras write them.
func isBlankStamp(s string) bool { return strings.Trim(s, " :0-T") == "" }

// addSubSec adds the digits after the second; "045" is 0.045.
func (s *localStamp) addSubSec(digits string) {
	if digits == "" || s.step < time.Second {
		return
	}
	fraction, step, ok := parseFraction(digits)
	if !ok {
		s.notes = append(s.notes, fmt.Sprintf("sub-seconds %q in the EXIF are no digits and were left out", digits))
		return
	}
	s.time, s.step = s.time.Add(fraction), step
}

// offsetWords name the ways to an offset in a clock's source.
var offsetWords = map[Zone]string{ZoneInFile: "offset in the file", ZoneFromGPS: "offset from GPS time", ZoneAsGiven: "zone as given"}

// told finds local minus UTC and what speaks against it. The stamp stays the camera's: GPS time is that of the last fix, which
// may be old.
func (t exifTags) told(s localStamp, o Options) (d Told, err error) {
	gps, fixed := t.gps()
	settled := s.time.Sub(gps).Round(15 * time.Minute)
	stated, ok := parseOffset(s.offset)
	switch {
	case ok:
		d = Told{Zone: ZoneInFile, Offset: stated}.against(s.time, o)
	case fixed && inUse(settled):
		d = Told{Zone: ZoneFromGPS, Offset: settled}.against(s.time, o)
	case o.Zone != nil:
		d = given(s.time, o.Zone)
	default:
		return d, noClock("the EXIF time has no offset from UTC", amiss.Zone)
	}
	if fixed {
		d.HasFix, d.Ahead = true, s.time.Add(-d.Offset).Sub(gps)
	}
	return d, nil
}

// inUse reports whether an offset is one that civil time somewhere keeps or
// lately kept (IANA time zone database). An old GPS fix yields others.
func inUse(d time.Duration) bool {
	if d%time.Hour == 0 {
		return d >= -12*time.Hour && d <= 14*time.Hour
	}
	switch d / time.Minute {
	case -570, -270, -210, -150, 210, 270, 330, 345, 390, 510, 525, 570, 585, 630, 690, 765, 825:
		return true
	}
	return false
}

// gps is the UTC instant of the GPS fix.
func (t exifTags) gps() (time.Time, bool) {
	if t.gpsTime == nil {
		return time.Time{}, false
	}
	d, err := parseStamp(t.text["GPSDateStamp"] + " 00:00:00")
	seconds := t.gpsTime[0]*3600 + t.gpsTime[1]*60 + t.gpsTime[2]
	if err != nil || seconds > 86401 {
		return time.Time{}, false
	}
	return d.time.Add(time.Duration(seconds * 1e9)), true
}

// parseOffset reads "+HH:MM", "-HHMM", "Z"; ok is false for anything else.
func parseOffset(s string) (time.Duration, bool) {
	s = strings.TrimSpace(s)
	if s == "Z" || s == "z" {
		return 0, true
	}
	if len(s) < 3 || s[0] != '+' && s[0] != '-' {
		return 0, false
	}
	digits := strings.Replace(s[1:], ":", "", 1)
	if len(digits) == 2 {
		digits += "00"
	}
	n, err := strconv.ParseUint(digits, 10, 16)
	if err != nil || len(digits) != 4 || n%100 > 59 || n/100 > 15 {
		return 0, false
	}
	d := time.Duration(n/100)*time.Hour + time.Duration(n%100)*time.Minute
	if s[0] == '-' {
		d = -d
	}
	return d, true
}
