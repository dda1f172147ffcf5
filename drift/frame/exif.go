package frame

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/bep/imagemeta"

	"trueturn/ephem/amiss"
)

// exifTags are the EXIF fields this package uses: text and numbers by the
// metadata library, and from our own reader what that library loses – the
// leading zeros of sub-seconds, and zero denominators in GPS triples (which it
// turns to 0 without a word).
type exifTags struct {
	text   map[string]string
	number map[string]float64

	latitude, longitude, gpsTime []float64 // degrees, minutes, seconds or h, m, s; nil without
}

// Tags taken over from the library, by its names.
var wantedText = map[string]bool{"Make": true, "Model": true, "LensModel": true, "DateTimeOriginal": true, "CreateDate": true,
	"ModifyDate":         true,
	"OffsetTimeOriginal": true, "OffsetTimeDigitized": true, "OffsetTime": true, "GPSLatitudeRef": true, "GPSLongitudeRef": true, "GPSDateStamp": true}

var wantedNumber = map[string]bool{"Orientation": true, "ExposureTime": true, "FNumber": true, "FocalLength": true,
	"FocalLengthIn35mmFormat": true, "FocalPlaneXResolution": true, "FocalPlaneResolutionUnit": true, "ExifImageWidth": true,
	"ExifImageHeight": true, "GPSAltitude": true, "GPSAltitudeRef": true}

// Sub-second tags and the directories beside the first, EXIF 2.32 (CIPA
// DC-008-2019) tables 4 and 7.
const (
	tagExifIFD            = 0x8769
	tagGPSIFD             = 0x8825
	tagSubSecOriginal     = 0x9291
	tagSubSecDigitized    = 0x9292
	tagGPSLatitude        = 2
	tagGPSLongitude       = 4
	tagGPSTimeStamp       = 7
	subSecOriginalName    = "SubSecTimeOriginal"
	subSecDigitizedName   = "SubSecTimeDigitized"
	maxExifFields         = 2000
	maxExifFieldSizeBytes = 1024
)

// exifTagsOf reads the tags of a TIFF structure: a whole TIFF file, or the
// block inside a JPEG or PNG. Damage costs fields, never the picture.
func exifTagsOf(src source) exifTags {
	t := exifTags{text: map[string]string{}, number: map[string]float64{}}
	t.readLibrary(src)
	first, ok := firstDirectory(src)
	if !ok {
		return t
	}
	t.readSubSec(first)
	if off, ok := first.uint(tagExifIFD); ok {
		if exif, ok := first.at(int64(off)); ok {
			t.readSubSec(exif)
		}
	}
	if off, ok := first.uint(tagGPSIFD); ok {
		if gps, ok := first.at(int64(off)); ok {
			t.latitude, t.longitude, t.gpsTime = gps.triple(tagGPSLatitude), gps.triple(tagGPSLongitude), gps.triple(tagGPSTimeStamp)
		}
	}
	return t
}

func (t exifTags) readLibrary(src source) {
	defer func() { _ = recover() }() // a damaged block costs fields, as an error would
	_, _ = imagemeta.Decode(imagemeta.Options{
		R:            src.reader(),
		ImageFormat:  imagemeta.TIFF,
		Sources:      imagemeta.EXIF,
		LimitNumTags: maxExifFields,
		LimitTagSize: maxExifFieldSizeBytes,
		ShouldHandleTag: func(i imagemeta.TagInfo) bool {
			return strings.HasPrefix(i.Namespace, "IFD0") && !strings.Contains(i.Namespace, "SubIFD") && (wantedText[i.Tag] || wantedNumber[i.Tag])
		},
		HandleTag: func(i imagemeta.TagInfo) error { t.take(i); return nil },
	})
}

// take keeps the first value of each tag.
func (t exifTags) take(i imagemeta.TagInfo) {
	if wantedText[i.Tag] {
		if s, ok := i.Value.(string); ok && t.text[i.Tag] == "" {
			t.text[i.Tag] = clean(s)
		}
		return
	}
	if _, seen := t.number[i.Tag]; seen {
		return
	}
	if v, ok := numberOf(i.Value); ok {
		t.number[i.Tag] = v
	}
}

func numberOf(v any) (float64, bool) {
	var f float64
	switch v := v.(type) {
	case interface{ Float64() float64 }:
		f = v.Float64()
	case float64:
		f = v
	case float32:
		f = float64(v)
	case uint8:
		f = float64(v)
	case uint16:
		f = float64(v)
	case uint32:
		f = float64(v)
	case int32:
		f = float64(v)
	default:
		return 0, false
	}
	return f, !math.IsNaN(f) && !math.IsInf(f, 0)
}

func (t exifTags) readSubSec(d directory) {
	for tag, name := range map[uint16]string{tagSubSecOriginal: subSecOriginalName, tagSubSecDigitized: subSecDigitizedName} {
		if s := d.text(tag); s != "" {
			t.text[name] = s
		}
	}
}

// triple reads three rationals. 0/0 in the second or third stands for "none"
// (common practice of cameras, no source); in the first it voids all.
func (d directory) triple(tag uint16) []float64 {
	b := d.raw(tag)
	if d.fields[tag].kind != 5 || len(b) != 24 {
		return nil
	}
	v := make([]float64, 3)
	for i := range v {
		num, den := d.order.Uint32(b[8*i:]), d.order.Uint32(b[8*i+4:])
		switch {
		case den != 0:
			v[i] = float64(num) / float64(den)
		case i == 0 || num != 0:
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
		l.PixelPitchUM = plausible(unitUM/r*t.shrunk(width, height), 0.2, 200)
	}
	return l
}

// shrunk is by how much the picture lost pixels against its EXIF size at the
// same aspect; 1 when the two agree or the picture was cropped.
func (t exifTags) shrunk(width, height int) float64 {
	w, h := t.number["ExifImageWidth"], t.number["ExifImageHeight"]
	if w <= 0 || h <= 0 || width <= 0 || height <= 0 {
		return 1
	}
	x, y := w/float64(width), h/float64(height)
	if math.Abs(x/y-1) > 0.01 {
		return 1
	}
	return x
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
	p := place{latDeg: degrees(t.latitude), lonDeg: degrees(t.longitude), heightM: plausible(t.number["GPSAltitude"], 0, 10000)}
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
	if t.number["GPSAltitudeRef"] == 1 {
		p.heightM = -p.heightM
	}
	return &p
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
