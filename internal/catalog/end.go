package catalog

import (
	"encoding/json"
	"fmt"
	"strings"

	"onetrip/internal/units"
)

// Family is the way an end joins another.
type Family string

// The families of ends. Angles are of the flare seat; standards in flare.go.
const (
	PlainTube     Family = "plain_tube"     // cut tube, named by outside diameter
	InvertedFlare Family = "inverted_flare" // 45 degree inverted flare, SAE J512
	ANFlare       Family = "an_flare"       // 37 degree flare, SAE J514, dash sizes
	HoseBarb      Family = "hose_barb"      // named by the hose it takes
	NPT           Family = "npt"            // taper pipe thread, ASME B1.20.1
	UNFPort       Family = "unf_port"       // straight thread sealed by gasket or O-ring
	Banjo         Family = "banjo"          // eye and hollow bolt, named by the bolt thread
	Hose          Family = "hose"           // open end of a hose, named by its bore
)

// Families lists every Family in contract order.
var Families = []Family{PlainTube, InvertedFlare, ANFlare, HoseBarb, NPT, UNFPort, Banjo, Hose}

// Gender tells the two sides of a threaded joint apart. Tube, barb and hose ends
// have none.
type Gender string

// Genders.
const (
	Male    Gender = "male"
	Female  Gender = "female"
	Neutral Gender = ""
)

// End is one side of a part that joins to another. Size is the nominal size of
// the family in inches: tube outside diameter for plain_tube, inverted_flare and
// an_flare, hose bore for hose and hose_barb, pipe size for npt, thread major
// diameter for unf_port and banjo. Thread is set for every threaded family, so
// that two ends compare by numbers alone; End is usable as a map key.
type End struct {
	Family Family
	Size   units.Size
	Thread units.Thread
	Gender Gender
}

// NewEnd builds an end from its contract fields. size may be a fraction, a dash
// size or a thread, as the family allows: "3/8", "-6", "5/8-18".
func NewEnd(family Family, size string, gender Gender) (End, error) {
	switch family {
	case PlainTube, HoseBarb, Hose:
		if gender != Neutral {
			return End{}, fmt.Errorf("end %s %s: has no gender; leave gender out", family, size)
		}
	case InvertedFlare, ANFlare, NPT, UNFPort, Banjo:
		if gender != Male && gender != Female {
			return End{}, fmt.Errorf("end %s %s: needs gender male or female", family, size)
		}
	default:
		return End{}, fmt.Errorf("end family %q is unknown; accepted: %s", family, joinStrings(Families))
	}
	if at := strings.LastIndexByte(size, '-'); at > 0 && !strings.Contains(size[at:], "/") {
		thread, err := units.ParseThread(size)
		if err != nil {
			return End{}, err
		}
		s, err := sizeOfThread(family, thread)
		if err != nil {
			return End{}, err
		}
		return newEnd(family, s, thread, gender), nil
	}
	s, err := units.ParseSize(size)
	if err != nil {
		return End{}, err
	}
	return endOfSize(family, s, gender)
}

// endOfSize builds an end of a family that has sizes; of gender, what the family has.
func endOfSize(family Family, size units.Size, gender Gender) (End, error) {
	thread, err := threadOfSize(family, size)
	if err != nil {
		return End{}, err
	}
	return newEnd(family, size, thread, gender), nil
}

func newEnd(family Family, size units.Size, thread units.Thread, gender Gender) End {
	thread.Taper = thread.Taper || family == NPT
	return End{Family: family, Size: size, Thread: thread, Gender: gender}
}

// ParseEnd reads the one-line form used in CSV files and printed to people:
// "hose_barb 3/8", "inverted_flare 5/8-18 male".
func ParseEnd(text string) (End, error) {
	f := strings.Fields(text)
	switch len(f) {
	case 2:
		return NewEnd(Family(f[0]), f[1], Neutral)
	case 3:
		return NewEnd(Family(f[0]), f[1], Gender(f[2]))
	}
	return End{}, fmt.Errorf("end %q: write family, size and, where threaded, gender: hose_barb 3/8, inverted_flare 5/8-18 male", text)
}

// SizeText is the size as the trade writes it for the family: a dash size for
// an_flare, a thread for unf_port, banjo and inverted_flare, a fraction elsewhere.
func (e End) SizeText() string {
	switch e.Family {
	case ANFlare:
		if n, ok := e.Size.Sixteenths(); ok {
			return fmt.Sprintf("-%d", n)
		}
	case UNFPort, Banjo, InvertedFlare:
		return e.Thread.String()
	}
	return e.Size.String()
}

// String prints the form ParseEnd reads.
func (e End) String() string {
	if e.Gender == Neutral {
		return string(e.Family) + " " + e.SizeText()
	}
	return string(e.Family) + " " + e.SizeText() + " " + string(e.Gender)
}

// familyWords are the families as the trade says them after size and gender.
var familyWords = map[Family]string{
	PlainTube: "plain tube", InvertedFlare: "inverted flare", ANFlare: "AN flare", HoseBarb: "hose barb",
	NPT: "pipe thread", UNFPort: "straight-thread port", Banjo: "banjo", Hose: "hose",
}

// Words is the end for a sentence: "3/8 hose barb", "5/8-18 female inverted flare".
func (e End) Words() string {
	if e.Gender == Neutral {
		return e.SizeText() + " " + familyWords[e.Family]
	}
	return e.SizeText() + " " + string(e.Gender) + " " + familyWords[e.Family]
}

// Mates reports whether two ends join without anything between them. A hose goes
// over a barb or a tube of its bore (and takes a clamp); threaded ends join the
// other gender of the same family and thread.
func (e End) Mates(o End) bool {
	if e.Family == Hose {
		return (o.Family == HoseBarb || o.Family == PlainTube) && e.Size == o.Size
	}
	if o.Family == Hose {
		return o.Mates(e)
	}
	return e.Family == o.Family && e.Gender != Neutral && o.Gender != Neutral &&
		e.Gender != o.Gender && e.Size == o.Size && e.Thread == o.Thread
}

// Mate is the threaded end that Mates e; ok is false for families that join only
// a hose or are a hose.
func (e End) Mate() (mate End, ok bool) {
	switch e.Gender {
	case Male:
		e.Gender = Female
	case Female:
		e.Gender = Male
	default:
		return End{}, false
	}
	return e, true
}

type endJSON struct {
	Family Family `json:"family"`
	Size   string `json:"size"`
	Gender Gender `json:"gender,omitempty"`
}

// MarshalJSON writes {family, size, gender}. It writes by hand, since a kit has a dozen
// ends; their words, sizes and threads need no escapes.
func (e End) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 64)
	b = append(b, `{"family":"`...)
	b = append(b, e.Family...)
	b = append(b, `","size":"`...)
	b = append(b, e.SizeText()...)
	if e.Gender != Neutral {
		b = append(b, `","gender":"`...)
		b = append(b, e.Gender...)
	}
	return append(b, `"}`...), nil
}

// UnmarshalJSON reads {family, size, gender}.
func (e *End) UnmarshalJSON(data []byte) error {
	var j endJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	v, err := NewEnd(j.Family, j.Size, j.Gender)
	if err != nil {
		return err
	}
	*e = v
	return nil
}

func joinStrings[T ~string](list []T) string {
	parts := make([]string, len(list))
	for i, v := range list {
		parts[i] = string(v)
	}
	return strings.Join(parts, ", ")
}
