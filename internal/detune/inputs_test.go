package detune

import (
	"reflect"
	"strings"
	"testing"
)

func TestLimits(t *testing.T) {
	in := builtin(t, "ukulele-12edo")
	limits, err := ParseLimits(in, []string{"30", "2=-20..5", "4=0"})
	if want := []Limit{{30, 30}, {20, 5}, {30, 30}, {0, 0}}; err != nil || !reflect.DeepEqual(limits, want) {
		t.Errorf("%v, %v", limits, err)
	}
	loads, err := ParseLoads(in, []string{"60%", "85N", "1=70N"})
	if want := []LoadLimit{{70, 0.6}, {85, 0.6}, {85, 0.6}, {85, 0.6}}; err != nil || !reflect.DeepEqual(loads, want) {
		t.Errorf("%v, %v", loads, err)
	}
	for _, bad := range []string{"", "x", "-5", "5=30", "0=1", "NaN", "20..30", "-20..-5", "-1e9..0", "2="} {
		if got, err := ParseLimits(in, []string{bad}); err == nil {
			t.Errorf("limit %q: %v", bad, got)
		}
	}
	for _, bad := range []string{"", "N", "85", "85 kg", "-5N", "0%", "5=30N", "NaNN", "InfN"} {
		if got, err := ParseLoads(in, []string{bad}); err == nil {
			t.Errorf("load %q: %v", bad, got)
		}
	}
}

func TestReadMeasured(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	got, err := ReadMeasured(in, strings.NewReader(`{"type":"note","f1_hz":246.0,"inharmonicity":null,"target":{"string":2,"fret":0}}

{"type":"event"}
{"type":"note","f1_hz":262.0,"inharmonicity":0.1,"target":{"string":2,"fret":1}}
{"type":"note","f1_hz":247.5,"inharmonicity":0.00004,"target":{"label":"B3","string":2,"fret":0}}
`))
	if err != nil || got[1] != (Measured{247.5, 0.00004}) || got[0] != (Measured{}) {
		t.Errorf("%v, %v", got, err)
	}
	for text, says := range map[string]string{
		"": "no open string", "x": "line 1 is not JSON",
		`{"type":"note","f1_hz":246.0,"target":{"string":9}}`:  "string 9",
		`{"type":"note","f1_hz":46.0,"target":{"string":2}}`:   "too far",
		`{"type":"note","f1_hz":-46.0,"target":{"string":2}}`:  "too far",
		`{"type":"note","f1_hz":246.0,"target":{"string":-2}}`: "string -2",
	} {
		if _, err := ReadMeasured(in, strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", text, err, says)
		}
	}
}
