package simulate

import (
	"math/rand/v2"
	"time"

	"stallkeeper/estimator/thermal"
)

// Cooling is a piece that cools: it begins at Piece.Start all through and goes through the places one after the other. The meat is as
// raw meat that was just heated: it has not lost the juice that a cooked piece has.
type Cooling struct {
	Piece    Piece
	Places   []Place
	Probe    Probe // Sees is SeesPiece
	Began    time.Time
	Length   time.Duration
	Interval time.Duration
	Seed     uint64
}

// Place is where a piece cools.
type Place struct {
	For      time.Duration   // 0 for the last: to the end
	Air      thermal.Celsius // or water
	Convect  float64         // W/(m²K)
	Radiate  float64         // W/(m²K)
	Bagged   bool            // nothing evaporates
	Humidity float64         // of the air, 0 to 1
}

// Cool gives what the probe shows.
func Cool(c Cooling) []Reading {
	v := newVapourTable()
	pressure := airPressure(0)
	b := newBody(c.Piece)
	s := newSensor(c.Probe, b.at(c.Probe.Depth), rand.New(rand.NewPCG(c.Seed, 4)))
	var out []Reading
	for at := time.Duration(0); at <= c.Length; at += c.Interval {
		if t, ok := s.read(c.Interval); ok {
			out = append(out, Reading{Probe: c.Probe.Name, Time: c.Began.Add(at), Celsius: t})
		}
		p := c.place(at)
		wet, _ := v.at(float64(p.Air))
		around := around{air: float64(p.Air), wall: float64(p.Air), vapour: p.Humidity * wet, pressure: pressure, boil: v.boiling(pressure), convect: p.Convect, radiate: p.Radiate}
		if b.wrap = ""; p.Bagged {
			b.wrap = "foil"
		}
		for left := c.Interval.Seconds(); left > 0; left -= maxStep {
			b.step(min(left, maxStep), around, v)
		}
		s.follow(b.at(c.Probe.Depth), c.Interval.Seconds())
	}
	return out
}

func (c *Cooling) place(at time.Duration) Place {
	for _, p := range c.Places {
		if at < p.For || p.For == 0 {
			return p
		}
		at -= p.For
	}
	return c.Places[len(c.Places)-1]
}

// InventCooling makes up the cooling of a piece, whole or sliced, that somebody chills after a cook: at first perhaps on the counter, then
// in a cooler whose air stands or is moved, in a freezer or in ice water. The ranges are choices of this project, without a source.
func InventCooling(seed uint64, began time.Time) Cooling {
	d := dice{rand.New(rand.NewPCG(seed, 5))}
	cut := pick(d, "brisket_flat", "brisket_packer", "pork_shoulder", "beef_chuck", "pork_loin", "turkey_breast")
	mm := d.about(58, 0.5)
	kg := min(max(d.about(2, 0.5), 0.02*mm), 6)
	place := pick(d,
		Place{Air: thermal.Celsius(d.between(1, 4.5)), Convect: d.between(4, 9), Radiate: 4.5, Humidity: 0.85},
		Place{Air: thermal.Celsius(d.between(0, 4)), Convect: d.between(10, 30), Radiate: 4.5, Humidity: 0.85},
		Place{Air: thermal.Celsius(d.between(-20, -16)), Convect: d.between(5, 15), Radiate: 4, Humidity: 0.8},
		Place{Air: thermal.Celsius(d.between(0, 2)), Convect: d.between(150, 500), Bagged: true})
	c := Cooling{Piece: Piece{ID: "piece", Cut: cut, MassKg: kg, ThicknessMM: min(max(mm, 12), 100), Start: thermal.Celsius(d.between(68, 92)), Vary: Vary{Conductivity: d.about(1, 0.06)}},
		Probe: Probe{Name: "piece", Sees: SeesPiece, Piece: "piece", Depth: d.between(0, 0.2), Lag: 15 * time.Second, Noise: 0.08, Step: 0.1},
		Began: began, Length: 10 * time.Hour, Interval: time.Minute, Seed: seed}
	if counter := d.minutes(-30, 45); counter > 0 {
		c.Places = append(c.Places, Place{For: counter, Air: 21, Convect: 5, Radiate: 5.5, Humidity: 0.5})
	}
	c.Places = append(c.Places, place)
	return c
}
