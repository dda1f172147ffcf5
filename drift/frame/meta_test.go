package frame

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"trueturn/ephem/amiss"
)

// utc makes an instant of 2026-03.
func utc(day, hour, minute int, second float64) time.Time {
	return time.Date(2026, 3, day, hour, minute, 0, 0, time.UTC).Add(time.Duration(math.Round(second*1e6)) * time.Microsecond)
}

// TestEXIFClock reads files written by exiftool: local time 2026-03-01
// 21:13:05, 8 s, and what else the row says.
func TestEXIFClock(t *testing.T) {
	tz := time.FixedZone("", -4*3600)
	for _, c := range []struct {
		name, file string
		o          Options
		want       Clock
	}{
		{"sub-seconds with a leading zero, offset", "full.jpg", Options{}, clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"the same in PNG", "full.png", Options{}, clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"the same in TIFF", "full.tiff", Options{}, clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"the same in big-endian order", "big_endian.jpg", Options{}, clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"the offset in the file wins over the zone given", "full.jpg", Options{Zone: tz}, clockOf(utc(2, 0, 43, 5.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"GPS time 4 s off settles −03:30", "gps_time.jpg", Options{}, clockOf(utc(2, 0, 43, 5), 8*time.Second, time.Second, "EXIF DateTimeOriginal, offset from GPS time")},
		{"the zone given", "no_offset.jpg", Options{Zone: tz}, clockOf(utc(2, 1, 13, 5.6), 8*time.Second, 10*time.Millisecond, "EXIF DateTimeOriginal, zone as given")},
		{"stamp in the middle", "full.jpg", Options{Stamp: StampMiddle}, clockOf(utc(2, 0, 43, 1.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"stamp at the end", "full.jpg", Options{Stamp: StampEnd}, clockOf(utc(2, 0, 42, 57.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file")},
		{"clock known to be wrong", "full.jpg", Options{ClockOffset: -90 * time.Second}, clockOf(utc(2, 0, 41, 35.045), 8*time.Second, time.Millisecond, "EXIF DateTimeOriginal, offset in the file, moved by -1m30s")},
		{"digitized alone", "digitized.jpg", Options{}, clockOf(utc(1, 15, 28, 5.5), 8*time.Second, 100*time.Millisecond, "EXIF DateTimeDigitized, offset in the file")},
		{"offset of the last change, which is the taking", "change_offset.jpg", Options{}, clockOf(utc(2, 0, 43, 5), 8*time.Second, time.Second, "EXIF DateTimeOriginal, offset in the file")},
		{"exposure 1/0 is unknown", "exposure_inf.jpg", Options{}, clockOf(utc(2, 0, 43, 5), 0, time.Second, "EXIF DateTimeOriginal, offset in the file")},
		{"exposure 0/0 is unknown", "exposure_undef.jpg", Options{}, clockOf(utc(2, 0, 43, 5), 0, time.Second, "EXIF DateTimeOriginal, offset in the file")},
		{"exposure 1/3 s", "exposure_third.jpg", Options{}, clockOf(utc(2, 0, 43, 5), 333333333, time.Second, "EXIF DateTimeOriginal, offset in the file")},
		{"the table wins", "full.jpg", Options{Name: "full.jpg", Times: Times{"full.jpg": clockOf(utc(5, 1, 2, 3), time.Second, time.Second, "table of times")}}, clockOf(utc(5, 1, 2, 3), time.Second, time.Second, "table of times")},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := decodeFile(t, c.file, c.o)
			if f.ClockErr != nil {
				t.Fatal(f.ClockErr)
			}
			if bare(*f.Clock) != c.want {
				t.Errorf("clock\n%v, want\n%v", *f.Clock, c.want)
			}
			if (c.want.Exposure == 0) != strings.Contains(strings.Join(f.Notes, ";"), "no exposure time") {
				t.Errorf("exposure %v, but notes %q", c.want.Exposure, f.Notes)
			}
		})
	}
}

// clockOf is a clock of whose grounds nothing is said.
func clockOf(start time.Time, exposure, step time.Duration, source string) Clock {
	return Clock{Start: start, Exposure: exposure, Step: step, Source: source}
}

func bare(c Clock) Clock {
	c.Told = Told{}
	return c
}

// TestTold: what a time rests on, and what speaks against it. The camera's clock shows 2026-03-01 21:13:05 in every row.
func TestTold(t *testing.T) {
	const shown = "2026:03:01 21:13:05"
	hour := time.Hour
	gps := func(h, m, s float64) []float64 { return []float64{h, m, s} }
	for _, row := range []struct {
		name   string
		offset string
		gps    []float64 // on the same day
		o      Options
		want   Told
	}{
		{"offset alone", "+01:00", nil, Options{}, Told{Zone: ZoneInFile, Offset: hour}},
		{"offset and the same zone", "+01:00", nil, Options{Zone: time.FixedZone("", 3600)}, Told{Zone: ZoneInFile, Offset: hour}},
		{"offset and another zone", "+01:00", nil, Options{Zone: time.FixedZone("", 7200)}, Told{Zone: ZoneInFile, Offset: hour, Against: true, Given: 2 * hour}},
		{"offset and another zone that is kept", "+01:00", nil, Options{Zone: time.FixedZone("", 7200), ZoneKept: true}, Told{Zone: ZoneInFile, Offset: hour}},
		{"offset and a fix four seconds old", "+01:00", gps(20, 13, 1), Options{}, Told{Zone: ZoneInFile, Offset: hour, HasFix: true, Ahead: 4 * time.Second}},
		{"offset an hour too large", "+02:00", gps(20, 13, 1), Options{}, Told{Zone: ZoneInFile, Offset: 2 * hour, HasFix: true, Ahead: 4*time.Second - hour}},
		{"the same, set right", "+02:00", gps(20, 13, 1), Options{ClockOffset: hour}, Told{Zone: ZoneInFile, Offset: 2 * hour, HasFix: true, Ahead: 4 * time.Second}},
		{"GPS alone", "", gps(20, 10, 5), Options{}, Told{Zone: ZoneFromGPS, Offset: hour, HasFix: true, Ahead: 3 * time.Minute}},
		{"GPS against a zone", "", gps(20, 13, 5), Options{Zone: time.UTC}, Told{Zone: ZoneFromGPS, Offset: hour, Against: true, HasFix: true}},
		{"a fix of no zone in use, and a zone", "", gps(20, 28, 5), Options{Zone: time.FixedZone("", 3600)}, Told{Zone: ZoneAsGiven, Offset: hour, HasFix: true, Ahead: -15 * time.Minute}},
		{"zone as given", "", nil, Options{Zone: time.FixedZone("", -3*3600)}, Told{Zone: ZoneAsGiven, Offset: -3 * hour}},
	} {
		t.Run(row.name, func(t *testing.T) {
			tags := exifTags{text: map[string]string{"DateTimeOriginal": shown, "OffsetTimeOriginal": row.offset, "GPSDateStamp": "2026:03:01"}, gpsTime: row.gps}
			c, _, err := picture{stamp: tags.clock}.clock(row.o)
			if err != nil || c.Told != row.want {
				t.Errorf("%+v (%v), want %+v", c.Told, err, row.want)
			}
			if want := time.Date(2026, 3, 1, 21, 13, 5, 0, time.UTC).Add(row.o.ClockOffset - row.want.Offset); !c.Start.Equal(want) {
				t.Errorf("%v, want %v", c.Start, want)
			}
		})
	}
}

// TestToldOfFITS: times of FITS are UTC unless the header says otherwise.
func TestToldOfFITS(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	for _, row := range []struct {
		name string
		h    header
		want Told
	}{
		{"DATE-OBS", header{"DATE-OBS": "2026-03-01T21:13:05"}, Told{Zone: ZoneUTC}},
		{"TAI", header{"DATE-OBS": "2026-03-01T21:13:05", "TIMESYS": "TAI"}, Told{Zone: ZoneUTC}},
		{"local scale", header{"DATE-OBS": "2026-03-01T21:13:05", "TIMESYS": "LOCAL"}, Told{Zone: ZoneAsGiven, Offset: 2 * time.Hour}},
		{"local alone", header{"DATE-LOC": "2026-03-01T21:13:05"}, Told{Zone: ZoneAsGiven, Offset: 2 * time.Hour}},
	} {
		if c, _, err := row.h.clock(Options{Zone: zone}); err != nil || c.Told != row.want {
			t.Errorf("%s: %+v (%v), want %+v", row.name, c.Told, err, row.want)
		}
	}
}

// TestZoneByName: the offset is that of each picture's own date, and near a change of the clocks there is a doubt to tell. The
// European Union changes on the last Sundays of March and October at 01:00 UTC (IANA time zone database): in 2026 on 29 March
// and 25 October.
func TestZoneByName(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Zurich")
	if err != nil {
		t.Skip("no zone database on this machine: ", err)
	}
	for _, row := range []struct {
		local   time.Time
		utcHour int
		other   int // hours from UTC beyond the change; 0: none near
	}{
		{time.Date(2026, 1, 15, 22, 0, 0, 0, time.UTC), 21, 0},
		{time.Date(2026, 7, 15, 22, 0, 0, 0, time.UTC), 20, 0},
		{time.Date(2026, 3, 28, 12, 30, 0, 0, time.UTC), 11, 0},
		{time.Date(2026, 3, 28, 23, 0, 0, 0, time.UTC), 22, 2},
		{time.Date(2026, 10, 25, 4, 0, 0, 0, time.UTC), 3, 2},
		{time.Date(2026, 10, 24, 22, 0, 0, 0, time.UTC), 20, 1},
	} {
		var b bytes.Buffer
		m := Metadata{Clock: Clock{Start: row.local, Exposure: time.Second}, NoOffset: true} // as the camera's clock shows it
		if err := Encode(&b, ramp(8, 8), m, JPEG); err != nil {
			t.Fatal(err)
		}
		f, err := Decode(bytes.NewReader(b.Bytes()), Options{Zone: zone})
		if err != nil || f.ClockErr != nil {
			t.Fatal(err, f.ClockErr)
		}
		told := f.Clock.Told
		if f.Clock.Start.UTC().Hour() != row.utcHour || told.Changed != (row.other != 0) || told.Other != time.Duration(row.other)*time.Hour {
			t.Errorf("%v: taken for %v, %+v; want %d h UTC, and %d", row.local, f.Clock.Start.UTC(), told, row.utcHour, row.other)
		}
	}
}

func TestNoClock(t *testing.T) {
	for _, c := range []struct {
		name, file string
		hint       string
	}{
		{"no offset", "no_offset.jpg", string(amiss.Zone)},
		{"no time", "no_clock.jpg", string(amiss.Times)},
		{"only the time of the last change", "changed_only.jpg", string(amiss.Times)},
		{"offset of a later change", "edited_offset.jpg", string(amiss.Zone)},
		{"zeros", "zeros.jpg", string(amiss.Times)},
		{"a month 13", "month13.jpg", string(amiss.Times)},
		{"no EXIF", "base.jpg", string(amiss.Times)},
		{"TIFF without a date", "grey16.tiff", string(amiss.Times)},
		{"FITS without a date", "u16.fits", string(amiss.Times)},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := decodeFile(t, c.file, Options{})
			if f.Clock != nil || !errors.Is(f.ClockErr, ErrNoClock) {
				t.Fatalf("clock %v, error %v; want ErrNoClock", f.Clock, f.ClockErr)
			}
			var e *amiss.Error
			if !errors.As(f.ClockErr, &e) || !strings.Contains(fmt.Sprint(e.Ways), c.hint) {
				t.Errorf("hint %q does not name %s", e.Ways, c.hint)
			}
			if len(f.Plane.Pix) == 0 {
				t.Error("the light is missing")
			}
		})
	}
}

// TestGPSOffset settles offsets from the difference of two clocks.
func TestGPSOffset(t *testing.T) {
	for _, c := range []struct {
		name       string
		local, gps string
		offset     string // empty: not settled
		ahead      time.Duration
	}{
		{"summer time", "2026:07:01 23:30:00", "2026:07:01 21:29:50", "2h0m0s", 10 * time.Second},
		{"a day ahead", "2026:07:02 09:30:00", "2026:07:01 20:45:00", "12h45m0s", 0},
		{"three quarters", "2026:07:01 23:15:04", "2026:07:01 17:30:00", "5h45m0s", 4 * time.Second},
		{"a clock six minutes wrong", "2026:07:01 21:36:00", "2026:07:01 19:30:00", "2h0m0s", 6 * time.Minute},
		{"a fix twenty minutes old", "2026:07:01 21:36:00", "2026:07:01 19:16:00", "", 0},
		{"a fix of another day", "2026:07:09 21:36:00", "2026:07:01 19:30:00", "", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			gps, err := parseStamp(c.gps)
			if err != nil {
				t.Fatal(err)
			}
			tags := exifTags{text: map[string]string{"DateTimeOriginal": c.local, "GPSDateStamp": c.gps[:10]},
				gpsTime: []float64{float64(gps.time.Hour()), float64(gps.time.Minute()), float64(gps.time.Second())}}
			clock, _, err := tags.clock(Options{})
			if c.offset == "" {
				if !errors.Is(err, ErrNoClock) {
					t.Errorf("clock %v, error %v; want ErrNoClock", clock, err)
				}
				return
			}
			local, _ := parseStamp(c.local)
			if got := local.time.Sub(clock.Start).String(); err != nil || got != c.offset || clock.Told.Ahead != c.ahead {
				t.Errorf("offset %s, %v ahead, error %v; want %s and %v", got, clock.Told.Ahead, err, c.offset, c.ahead)
			}
		})
	}
}

// TestOffsetsInUse compares with the IANA time zone database
// (testdata/offsets_iana.txt). Whole hours are not told apart.
func TestOffsetsInUse(t *testing.T) {
	known := reference(t, "offsets_iana.txt")
	for minutes := -14 * 60; minutes <= 16*60; minutes += 15 {
		_, want := known[strconv.Itoa(minutes)]
		if got := inUse(time.Duration(minutes) * time.Minute); got != want && (minutes%60 != 0 || want) {
			t.Errorf("offset of %d minutes: in use %v, want %v", minutes, got, want)
		}
	}
}

// TestICC reads tone curves as ICC.1:2022 §10.6 and §10.18 define them: the
// value at half.
func TestICC(t *testing.T) {
	para := func(function byte, k ...int32) string {
		b := []byte("para\x00\x00\x00\x00\x00" + string(function) + "\x00\x00")
		for _, v := range k {
			b = append(b, byte(v>>24), byte(v>>16), byte(v>>8), byte(v))
		}
		return string(b)
	}
	const one = 1 << 16
	for _, c := range []struct {
		name, tone string
		want       float64 // NaN: no curve
	}{
		{"empty table is linear", "curv\x00\x00\x00\x00\x00\x00\x00\x00", 0.5},
		{"one value is a power, here 2", "curv\x00\x00\x00\x00\x00\x00\x00\x01\x02\x00", 0.25},
		{"table", "curv\x00\x00\x00\x00\x00\x00\x00\x03\x00\x00\x33\x33\xff\xff", 0.2},
		{"table cut short", "curv\x00\x00\x00\x00\x00\x00\x00\x03\x00\x00\x33\x33", math.NaN()},
		{"power", para(0, 3*one), 0.125},
		{"power with a foot, above it", para(3, 2*one, one/2, one/4, one, one/8), 0.25},
		{"power with a foot, on it", para(3, 2*one, one/2, one/4, one/2, one*3/4), 0.25},
		{"all seven", para(4, 2*one, one, 0, one, one/8, one/4, 0), 0.5},
		{"cut short", para(4, 2*one), math.NaN()},
		{"unknown function", para(9, 2*one), math.NaN()},
		{"a power of zero", "curv\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00", math.NaN()},
		{"a negative power", para(3, -2*one, one, 0, one, 0), math.NaN()},
		{"beyond full scale", para(3, 9*one, 30000*one, 0, one, 0), 1},
		{"another type", "text\x00\x00\x00\x00\x00\x00\x00\x00", math.NaN()},
	} {
		profile := make([]byte, 144)
		profile[131] = 1 // one tag
		copy(profile[132:], "kTRC\x00\x00\x00\x90\x00\x00\x00"+string([]byte{byte(len(c.tone))}))
		curve := iccCurve(append(profile, c.tone...))
		if curve == nil {
			if !math.IsNaN(c.want) {
				t.Errorf("%s: no curve", c.name)
			}
			continue
		}
		if got := curve(0.5); math.Abs(got-c.want) > 1e-5 || math.IsNaN(c.want) {
			t.Errorf("%s: %g at half, want %g", c.name, got, c.want)
		}
	}
}

func TestEXIFLensAndPlace(t *testing.T) {
	for _, file := range []string{"full.jpg", "full.png", "full.tiff", "big_endian.jpg"} {
		f := decodeFile(t, file, Options{})
		l := f.Lens
		pitch := l.PixelPitchUM
		l.PixelPitchUM = 0
		if want := (Lens{FocalLengthMM: 6.86, EquivalentMM: 26, FNumber: 1.8, Make: "Invented", Model: "Night 1"}); l != want {
			t.Errorf("%s: lens %+v, want %+v", file, l, want)
		}
		if math.Abs(pitch-1.4) > 1e-6 { // 7142.857143 pixels a centimetre
			t.Errorf("%s: pixel pitch %g µm, want 1.4", file, pitch)
		}
		// Decimal degrees become seconds with a finite fraction in the file.
		const arcsecond = 1.0 / 3600
		if f.Place == nil || math.Abs(f.Place.Latitude.Deg()+43.5) > 0.001*arcsecond || math.Abs(f.Place.Longitude.Deg()+70.25) > 0.001*arcsecond || f.Place.HeightM != 120.5 {
			t.Errorf("%s: place %v, want 43.5 S 70.25 W 120.5 m", file, f.Place)
		}
	}
}

// TestShrunkPicture: EXIF speaks of the picture as taken.
func TestShrunkPicture(t *testing.T) {
	tags := exifTags{number: map[string]float64{"FocalPlaneXResolution": 10000, "FocalPlaneResolutionUnit": 3, "ExifImageWidth": 4000, "ExifImageHeight": 3000}}
	for _, c := range []struct {
		name          string
		width, height int
		pitch         float64
	}{
		{"as taken", 4000, 3000, 1},
		{"half size", 2000, 1500, 2},
		{"cropped", 2000, 2000, 1},
		{"turned by an editor", 3000, 4000, 1},
	} {
		if got := tags.lens(c.width, c.height).PixelPitchUM; math.Abs(got-c.pitch) > 1e-9 {
			t.Errorf("%s: pitch %g µm, want %g", c.name, got, c.pitch)
		}
	}
}

// fitsClock reads the clock of a header.
func fitsClock(o Options, cards ...string) (Clock, []string, error) {
	h := header{}
	for _, c := range cards {
		h.add(pad(c))
	}
	return h.clock(o)
}

func TestFITSClock(t *testing.T) {
	tz := time.FixedZone("", 2*3600)
	for _, c := range []struct {
		name  string
		o     Options
		cards []string
		start time.Time
		exp   time.Duration
		step  time.Duration
		notes int
	}{
		{"start and exposure", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05.250'", "EXPTIME = 8.5"}, utc(1, 21, 13, 5.25), 8500 * time.Millisecond, time.Millisecond, 0},
		{"EXPOSURE, Fortran exponent, comment", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05' / UTC", "EXPOSURE= 1.5D+1 / seconds"}, utc(1, 21, 13, 5), 15 * time.Second, time.Second, 0},
		{"stamp in the middle", Options{Stamp: StampMiddle}, []string{"DATE-OBS= '2026-03-01T21:13:05'", "EXPTIME = 10"}, utc(1, 21, 13, 0), 10 * time.Second, time.Second, 0},
		{"Z at the end", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05Z'", "EXPTIME = 10"}, utc(1, 21, 13, 5), 10 * time.Second, time.Second, 0},
		{"an offset", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05.5+02:00'", "EXPTIME = 10"}, utc(1, 19, 13, 5.5), 10 * time.Second, 100 * time.Millisecond, 0},
		{"an offset beside TIMESYS", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05-0330'", "TIMESYS = 'UTC'"}, utc(2, 0, 43, 5), 0, time.Second, 0},
		{"leap second", Options{}, []string{"DATE-OBS= '2026-02-28T23:59:60'", "EXPTIME = 1"}, utc(1, 0, 0, 0), time.Second, time.Second, 0},
		{"middle wins", Options{}, []string{"DATE-OBS= '2026-03-01T20:00:00'", "DATE-AVG= '2026-03-01T21:13:05.00'", "EXPTIME = 10"}, utc(1, 21, 13, 0), 10 * time.Second, 10 * time.Millisecond, 0},
		{"begin and end", Options{Stamp: StampEnd}, []string{"DATE-BEG= '2026-03-01T21:13:05.0'", "DATE-END= '2026-03-01T21:13:35.0'", "EXPTIME = 28"}, utc(1, 21, 13, 5), 30 * time.Second, 100 * time.Millisecond, 0},
		{"date and TIME-OBS", Options{}, []string{"DATE-OBS= '2026-03-01'", "TIME-OBS= '21:13:05.1'", "EXPTIME = 8"}, utc(1, 21, 13, 5.1), 8 * time.Second, 100 * time.Millisecond, 0},
		{"date and UT", Options{}, []string{"DATE-OBS= '2026-03-01'", "UT      = '21:13:05'", "EXPTIME = 8"}, utc(1, 21, 13, 5), 8 * time.Second, time.Second, 0},
		{"old date", Options{}, []string{"DATE-OBS= '28/02/97'", "UT      = '21:13:05'"}, time.Date(1997, 2, 28, 21, 13, 5, 0, time.UTC), 0, time.Second, 0},
		{"local DATE-OBS beside UT-OBS", Options{}, []string{"DATE-OBS= '2026-03-01T22:13:05'", "UT-OBS  = '03:13:05'", "EXPTIME = 8"}, utc(2, 3, 13, 5), 8 * time.Second, time.Second, 1},
		{"local date and TIME-OBS beside UT-OBS, east", Options{}, []string{"DATE-OBS= '2026-03-02'", "TIME-OBS= '03:13:05'", "UT-OBS  = '20:13:05'"}, utc(1, 20, 13, 5), 0, time.Second, 1},
		{"full UT-OBS", Options{}, []string{"DATE-OBS= '2026-03-01T22:13:05'", "UT-OBS  = '2026-03-02T03:13:05'"}, utc(2, 3, 13, 5), 0, time.Second, 1},
		{"finer UT-OBS that agrees", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05'", "UT-OBS  = '21:13:05.37'"}, utc(1, 21, 13, 5.37), 0, 10 * time.Millisecond, 0},
		{"local headers beside UTC are not read", Options{Zone: tz}, []string{"DATE-LOC= '2026-03-01T23:13:05'", "DATE-OBS= '2026-03-01T21:13:05'"}, utc(1, 21, 13, 5), 0, time.Second, 0},
		{"local alone with a zone", Options{Zone: tz}, []string{"DATE-LOC= '2026-03-01T23:13:05'"}, utc(1, 21, 13, 5), 0, time.Second, 0},
		{"negative exposure is unknown", Options{}, []string{"DATE-OBS= '2026-03-01T21:13:05'", "EXPTIME = -1"}, utc(1, 21, 13, 5), 0, time.Second, 0},
		{"quote in a string", Options{}, []string{"OBJECT  = 'Bode''s'", "DATE-OBS= '2026-03-01T21:13:05'"}, utc(1, 21, 13, 5), 0, time.Second, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, notes, err := fitsClock(c.o, c.cards...)
			if err != nil {
				t.Fatal(err)
			}
			if !got.Start.Equal(c.start) || got.Exposure != c.exp || got.Step != c.step || len(notes) != c.notes {
				t.Errorf("%+v, notes %q; want %v, %v, step %v, %d notes", got, notes, c.start, c.exp, c.step, c.notes)
			}
		})
	}
}

func TestFITSNoClock(t *testing.T) {
	for _, c := range []struct {
		name  string
		cards []string
		hint  string
	}{
		{"nothing", nil, string(amiss.Times)},
		{"a date without a time", []string{"DATE-OBS= '2026-03-01'"}, string(amiss.Times)},
		{"the date of the file", []string{"DATE    = '2026-03-01T21:13:05'"}, string(amiss.Times)},
		{"no such day", []string{"DATE-OBS= '2026-02-30T21:13:05'"}, string(amiss.Times)},
		{"no such hour", []string{"DATE-OBS= '2026-02-20T25:13:05'"}, string(amiss.Times)},
		{"zeros", []string{"DATE-OBS= '0000-00-00T00:00:00'"}, string(amiss.Times)},
		{"local alone", []string{"DATE-LOC= '2026-03-01T23:13:05'"}, string(amiss.Zone)},
		{"unknown scale", []string{"DATE-OBS= '2026-03-01T23:13:05'", "TIMESYS = 'MARS'"}, string(amiss.Times)},
		{"two times that contradict", []string{"DATE-OBS= '2026-03-01T23:13:05'", "UT-OBS  = '23:14:05'"}, string(amiss.Times)},
		{"two times with no zone between", []string{"DATE-OBS= '2026-03-01T23:13:05'", "UT-OBS  = '21:06:05'"}, string(amiss.Times)},
		{"local scale", []string{"DATE-OBS= '2026-03-01T23:13:05'", "TIMESYS = 'LOCAL'"}, string(amiss.Zone)},
	} {
		_, _, err := fitsClock(Options{}, c.cards...)
		var e *amiss.Error
		if !errors.Is(err, ErrNoClock) || !errors.As(err, &e) || !strings.Contains(fmt.Sprint(e.Ways), c.hint) {
			t.Errorf("%s: error %v, want ErrNoClock with a hint naming %s", c.name, err, c.hint)
		}
	}
}

// TestTimeScales compares with astropy (testdata/time_astropy.txt).
func TestTimeScales(t *testing.T) {
	n := 0
	for line := range strings.Lines(string(readTestdata(t, "time_astropy.txt"))) {
		f := strings.Fields(line)
		if f[0] == "#" {
			continue
		}
		n++
		cards := []string{"DATE-OBS= '" + f[1] + "'", "TIMESYS = '" + strings.ToUpper(f[0]) + "'"}
		tolerance := time.Millisecond + time.Microsecond // astropy printed milliseconds; TDB−TT is up to 2 ms
		switch f[0] {
		case "mjd":
			cards = []string{"MJD-OBS = " + f[1]}
		case "jd":
			cards = []string{"JD      = " + f[1]}
		}
		got, _, err := fitsClock(Options{}, cards...)
		want, perr := time.Parse("2006-01-02T15:04:05.999", f[2])
		if err != nil || perr != nil || got.Start.Sub(want).Abs() > tolerance {
			t.Errorf("%s: %v, %v, want %v", strings.TrimSpace(line), got.Start, err, want)
		}
	}
	if n < 8 {
		t.Errorf("only %d rows of reference", n)
	}
}

// TestLeapSeconds compares with ERFA's table (testdata/leap_seconds_erfa.txt).
func TestLeapSeconds(t *testing.T) {
	var got strings.Builder
	for _, l := range leapSeconds {
		fmt.Fprintf(&got, "%d %d %d\n", l.year, l.month, l.seconds)
	}
	_, want, _ := strings.Cut(string(readTestdata(t, "leap_seconds_erfa.txt")), "\n")
	if got.String() != want {
		t.Errorf("table is\n%s, want\n%s", got.String(), want)
	}
}

func TestFITSLens(t *testing.T) {
	for _, c := range []struct {
		name  string
		cards []string
		want  Lens
	}{
		{"the usual", []string{"FOCALLEN= 135.", "XPIXSZ  = 7.52", "APTDIA  = 67.5", "INSTRUME= 'Invented 1'"}, Lens{FocalLengthMM: 135, PixelPitchUM: 7.52, FNumber: 2, Model: "Invented 1"}},
		{"unit in the value", []string{"FOCALLEN= '135mm'"}, Lens{FocalLengthMM: 135}},
		{"pixel without binning", []string{"PIXSIZE1= 3.76", "XBINNING= 2"}, Lens{PixelPitchUM: 7.52}},
		{"scale", []string{"SECPIX  = 5.98"}, Lens{ScaleArcsecPerPx: 5.98}},
		{"plate solution", []string{"CTYPE1  = 'RA---TAN'", "CD1_1   = -0.0006", "CD1_2   = 0.0008", "CD2_1   = 0.0008", "CD2_2   = 0.0006"}, Lens{ScaleArcsecPerPx: 3.6}},
		{"nonsense", []string{"FOCALLEN= -1", "XPIXSZ  = 'unknown'", "SCALE   = 0", "FOCRATIO= NaN"}, Lens{}},
	} {
		h := header{}
		for _, card := range c.cards {
			h.add(pad(card))
		}
		got := h.lens()
		got.ScaleArcsecPerPx = math.Round(got.ScaleArcsecPerPx*1e9) / 1e9
		if got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestFITSPlace(t *testing.T) {
	for _, c := range []struct {
		name     string
		cards    []string
		lat, lon float64
	}{
		{"standard", []string{"OBSGEO-B= 46.02", "OBSGEO-L= 7.75"}, 46.02, 7.75},
		{"degrees, minutes, seconds", []string{"SITELAT = '-43 59 13.2'", "SITELONG= '+170 27 54'"}, -43.987, 170.465},
		{"colons, just south", []string{"LAT-OBS = '-00:30:00'", "LONG-OBS= '-70:15'"}, -0.5, -70.25},
		{"compass letters", []string{"SITELAT = '43 30 S'", "SITELONG= '70.25 W'"}, -43.5, -70.25},
		{"longitude up to 360", []string{"SITELAT = 10", "SITELONG= 289.75"}, 10, -70.25},
	} {
		h := header{}
		for _, card := range c.cards {
			h.add(pad(card))
		}
		p := h.place()
		if p == nil || math.Abs(p.latDeg-c.lat) > 1e-9 || math.Abs(p.lonDeg-c.lon) > 1e-9 {
			t.Errorf("%s: %+v, want %g, %g", c.name, p, c.lat, c.lon)
		}
	}
	for _, text := range []string{"", "somewhere", "12:75:00", "1 2 3 4", "1e9", "400"} {
		if v, ok := parseAngle(text); ok {
			t.Errorf("parseAngle(%q) = %g, want refusal", text, v)
		}
	}
}

// TestPlaceNotOnEarth is told, not used.
func TestPlaceNotOnEarth(t *testing.T) {
	b := append(fitsText("BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1", "SITELAT = 95", "SITELONG= 7"), 1)
	f, err := Decode(bytes.NewReader(b), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f.Place != nil || !strings.Contains(strings.Join(f.Notes, ";"), "position") {
		t.Errorf("place %v, notes %q; want none and a note", f.Place, f.Notes)
	}
}

// TestCartesianPlace compares with astropy (testdata/place_astropy.txt).
func TestCartesianPlace(t *testing.T) {
	for line := range strings.Lines(string(readTestdata(t, "place_astropy.txt"))) {
		f := strings.Fields(line)
		if f[0] == "#" {
			continue
		}
		p := header{"OBSGEO-X": f[3], "OBSGEO-Y": f[4], "OBSGEO-Z": f[5]}.place()
		const metre = 1 / 111e3 // degrees of latitude
		if p == nil || math.Abs(p.latDeg-parseFloat(t, f[0])) > 0.01*metre || math.Abs(p.lonDeg-parseFloat(t, f[1])) > 0.01*metre || math.Abs(p.heightM-parseFloat(t, f[2])) > 0.01 {
			t.Errorf("%s: got %+v", strings.TrimSpace(line), p)
		}
	}
}

func TestParseTimes(t *testing.T) {
	for _, c := range timesRows {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseTimes(strings.NewReader(c.text))
			if c.wrong != "" {
				var e *amiss.Error
				if !errors.Is(err, ErrTimes) || !errors.As(err, &e) || !strings.Contains(e.Error(), c.wrong) || e.Ways == nil {
					t.Errorf("error %v, want one naming %q with a hint", err, c.wrong)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if bare(got[c.file]) != c.want || got[c.file].Told.Zone != ZoneTable {
				t.Errorf("%q is %v, want %v", c.file, got[c.file], c.want)
			}
		})
	}
}

// timesRows seed FuzzParseTimes too.
var timesRows = []struct {
	name, text string
	file       string
	want       Clock
	wrong      string // part of the error
}{
	{"with a header", "file,start_utc,exposure_s\na.jpg,2026-03-01T21:13:05.5Z,8\n", "a.jpg", clockOf(utc(1, 21, 13, 5.5), 8*time.Second, 100*time.Millisecond, "table of times"), ""},
	{"without a header", "a.jpg,2026-03-01T21:13:05,0.25", "a.jpg", clockOf(utc(1, 21, 13, 5), 250*time.Millisecond, time.Second, "table of times"), ""},
	{"as spreadsheets write it", "\ufefffile, start_utc, exposure_s\r\n\"a, b \"\"1\"\".jpg\", 2026-03-01 21:13:05 , 8\r\n\r\n", `a, b "1".jpg`, clockOf(utc(1, 21, 13, 5), 8*time.Second, time.Second, "table of times"), ""},
	{"an offset", "a.jpg,2026-03-01T21:13:05+02:00,8", "a.jpg", clockOf(utc(1, 19, 13, 5), 8*time.Second, time.Second, "table of times"), ""},
	{"no exposure", "# night one\na.jpg,2026-03-01T21:13:05Z,", "a.jpg", clockOf(utc(1, 21, 13, 5), 0, time.Second, "table of times"), ""},
	{"empty", "", "", Clock{}, "names no picture"},
	{"header alone", "file,start_utc,exposure_s\n", "", Clock{}, "names no picture"},
	{"two fields", "file,start_utc,exposure_s\n\na.jpg,8\n", "", Clock{}, "line 3: not three fields"},
	{"no time", "a.jpg,2026-03-01,8", "", Clock{}, "line 1"},
	{"no such time", "a.jpg,2026-03-01T24:13:05,8", "", Clock{}, "line 1"},
	{"strange offset", "a.jpg,2026-03-01T21:13:05+99:00,8", "", Clock{}, "offset"},
	{"negative exposure", "a.jpg,2026-03-01T21:13:05Z,-8", "", Clock{}, "exposure"},
	{"exposure NaN", "a.jpg,2026-03-01T21:13:05Z,NaN", "", Clock{}, "exposure"},
	{"exposure of days", "a.jpg,2026-03-01T21:13:05Z,1e9", "", Clock{}, "exposure"},
	{"twice", "a.jpg,2026-03-01T21:13:05Z,8\na.jpg,2026-03-01T21:13:25Z,8", "", Clock{}, "line 2: \"a.jpg\" stands in the table twice"},
	{"a path", "night/a.jpg,2026-03-01T21:13:05Z,8", "", Clock{}, "path"},
	{"no name", ",2026-03-01T21:13:05Z,8", "", Clock{}, "no file name"},
	{"a line without end", strings.Repeat("a", 10000), "", Clock{}, "line 1: longer"},
}

// ExampleParseTimes gives pictures without a clock one.
func ExampleParseTimes() {
	times, err := ParseTimes(strings.NewReader("file,start_utc,exposure_s\nsky_1.tiff,2026-03-01T21:13:05.5Z,8\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	c := times["sky_1.tiff"]
	fmt.Println(c.Mid().Format(time.RFC3339Nano), "±", c.Step)
	_, err = ParseTimes(strings.NewReader("sky_1.tiff,half past nine,8"))
	fmt.Println("error:", err)
	// Output:
	// 2026-03-01T21:13:09.5Z ± 100ms
	// error: table of times, line 1: "half past nine" is no date and time
}

func FuzzParseTimes(f *testing.F) {
	for _, c := range timesRows {
		f.Add(c.text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := ParseTimes(strings.NewReader(text))
		if (err == nil) != (len(got) > 0) {
			t.Fatalf("%d rows, error %v", len(got), err)
		}
		if err != nil {
			checkError(t, err, ErrTimes)
		}
		for name, c := range got {
			checkClock(t, c)
			if name == "" || strings.ContainsAny(name, "/\\\n") {
				t.Errorf("a row for %q", name)
			}
			line := fmt.Sprintf(`"%s",%s,%v`, strings.ReplaceAll(name, `"`, `""`), c.Start.Format(time.RFC3339Nano), c.Exposure.Seconds())
			if y := c.Start.Year(); y < 1 || y > 9999 || c.Exposure == 0 || len(line) >= maxTimesRowBytes {
				continue
			}
			if again, err := ParseTimes(strings.NewReader(line)); err != nil || again[name].Start != c.Start || again[name].Exposure != c.Exposure {
				t.Errorf("row %s reads as %+v, %v", line, again, err)
			}
		}
	})
}

// TestTableRowMissing: the picture's own clock serves; without one the note
// says that the table has no row.
func TestTableRowMissing(t *testing.T) {
	o := Options{Name: "a.jpg", Times: Times{"b.jpg": {}}}
	if f := decodeFile(t, "full.jpg", o); f.ClockErr != nil {
		t.Error(f.ClockErr)
	}
	f := decodeFile(t, "no_clock.jpg", o)
	if f.ClockErr == nil || !strings.Contains(strings.Join(f.Notes, ";"), `no row for "a.jpg"`) {
		t.Errorf("error %v, notes %q", f.ClockErr, f.Notes)
	}
}

// TestRealPictures reads the pictures kept outside the repository.
func TestRealPictures(t *testing.T) {
	const shared = "../../../shared/frames"
	if _, err := os.Stat(shared); err != nil {
		t.Skip("the folder of real pictures, ../shared/frames, is absent")
	}
	open := func(name string, o Options) Frame {
		b, err := os.ReadFile(filepath.Join(shared, name))
		if err != nil {
			t.Fatal(err)
		}
		f, err := Decode(bytes.NewReader(b), o)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return f
	}
	if f := open("lyra-tripod/lyra_58.jpg", Options{}); !errors.Is(f.ClockErr, ErrNoClock) {
		t.Errorf("without a zone: %v, want ErrNoClock", f.ClockErr)
	}
	zone := time.FixedZone("", -4*3600)
	// Times, exposure and lens as exiftool prints them.
	for file, second := range map[string]float64{"lyra_58.jpg": 28.6, "lyra_59.jpg": 38.1, "lyra_60.jpg": 47.6} {
		f := open("lyra-tripod/"+file, Options{Zone: zone})
		want := time.Date(2015, 10, 9, 5, 3, 0, 0, time.UTC).Add(time.Duration(second * 1e9))
		if f.ClockErr != nil || f.Clock.Start.Sub(want).Abs() > time.Microsecond || f.Clock.Exposure != 8*time.Second || f.Clock.Step != 10*time.Millisecond {
			t.Errorf("%s: clock %+v, %v; want %v", file, f.Clock, f.ClockErr, want)
		}
		if f.Plane.Width != 3872 || f.Plane.Height != 2592 || f.Lens.FocalLengthMM != 50 || f.Lens.EquivalentMM != 75 {
			t.Errorf("%s: %d×%d, lens %+v", file, f.Plane.Width, f.Plane.Height, f.Lens)
		}
	}
	f := open("star-sensor/2019-07-29T204726_Alt60_Azi45_Try1.tiff", Options{})
	if f.Format != "TIFF" || f.Plane.Width != 1024 || f.Plane.Height != 768 || !errors.Is(f.ClockErr, ErrNoClock) {
		t.Errorf("star sensor: %s %d×%d, %v", f.Format, f.Plane.Width, f.Plane.Height, f.ClockErr)
	}
}

// TestExposureWithoutClock: how long the shutter was open is known although the zone is not.
func TestExposureWithoutClock(t *testing.T) {
	f := decodeFile(t, "no_offset.jpg", Options{})
	if f.Clock != nil || f.Exposure != 8*time.Second {
		t.Errorf("clock %v, exposure %v; want none and 8 s", f.Clock, f.Exposure)
	}
	if f := decodeFile(t, "full.jpg", Options{}); f.Exposure != 8*time.Second {
		t.Errorf("exposure %v, want 8 s", f.Exposure)
	}
}
