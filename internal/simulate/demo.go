package simulate

import "time"

// Demo is an invented overnight cook: three pieces on one charcoal-fired pit from the evening to the serving hour next
// day. Begun at 20:30, the fire fades from 02:10 and is fed at 03:05; two of the pieces are wrapped as planned. Probes:
// the pit, one in each piece, the air outside, and a cooler in which the next piece cures.
func Demo(start time.Time) Scenario {
	meat := func(piece string, depth float64) Probe {
		return Probe{Name: piece, Sees: SeesPiece, Piece: piece, Depth: depth, Lag: 15 * time.Second, Noise: 0.08, Step: 0.1}
	}
	return Scenario{
		Name: "invented overnight cook", Started: start, ServeBy: start.Add(21*time.Hour + 30*time.Minute),
		Length: 22 * time.Hour, Interval: 15 * time.Second, Seed: 2107,
		SetPoint: 107, Fire: Kamado,
		Weather: Weather{Mean: 13, Swing: 6, DewPoint: 8},
		Pieces: []Piece{
			{ID: "flat", Cut: "brisket_flat_cured", MassKg: 3.2, ThicknessMM: 64, Start: 5, Target: 92.5, TakeOff: true,
				Plan: &WrapPlan{With: "foil", AtCelsius: 70}, WrapLate: 4 * time.Minute},
			{ID: "packer", Cut: "brisket_packer", MassKg: 5.2, ThicknessMM: 74, Start: 5, Target: 94, TakeOff: true, Spot: 1,
				Plan: &WrapPlan{With: "paper", AtCelsius: 75}, WrapLate: 9 * time.Minute},
			{ID: "shoulder", Cut: "pork_shoulder", MassKg: 2.9, ThicknessMM: 100, Start: 5, Target: 93, TakeOff: true, Spot: -1},
		},
		Probes: []Probe{
			{Name: "pit", Sees: SeesPit, Lag: 20 * time.Second, Noise: 0.3, Step: 0.1},
			meat("flat", 0.05), meat("packer", -0.08), meat("shoulder", 0.02),
			{Name: "ambient", Sees: SeesAmbient, Lag: 3 * time.Minute, Noise: 0.05, Step: 0.1},
			{Name: "cooler", Sees: SeesCooler, Lag: 4 * time.Minute, Noise: 0.03, Step: 0.0625},
		},
		Script: []Act{
			{After: 2*time.Hour + 10*time.Minute, Kind: Lid},
			{After: 6*time.Hour + 35*time.Minute, Kind: Fuel},
		},
		Faults: []FireFault{{After: 5*time.Hour + 40*time.Minute, Left: 0.05, Over: 14 * time.Minute}},
	}
}
