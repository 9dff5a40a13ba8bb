package cook

import "time"

// LotID names a lot, unique in one installation: "26-11-25-brisket".
type LotID string

// Stage is a part of a lot's way from raw meat to the last slice. Each has limits of its own.
type Stage string

const (
	StageThaw   Stage = "thaw"
	StageCure   Stage = "cure" // in brine or under a dry cure, in the cooler
	StageDry    Stage = "dry"  // drained, rubbed and uncovered, in the cooler
	StageSmoke  Stage = "smoke"
	StageHold   Stage = "hold"  // hot, until it is served
	StageChill  Stage = "chill" // from hot to cold
	StageStore  Stage = "store" // cold storage of what is ready to eat
	StageFreeze Stage = "freeze"
)

// Stages lists the stages in the order of the work.
func Stages() []Stage {
	return []Stage{StageThaw, StageCure, StageDry, StageSmoke, StageHold, StageChill, StageStore, StageFreeze}
}

// StageWatch is one stage of one lot and the probes that watch it.
type StageWatch struct {
	Lot    LotID
	Stage  Stage
	Piece  PieceID // empty: the whole lot
	Cut    string  // one of Cuts; empty: not known, which counts as the strictest
	Intact bool    // false is the stricter
	Probes []ProbeID
	From   time.Time
	Until  time.Time // zero: it goes on

	MassKg      float64 // of the piece, for forecasts; 0: not known
	ThicknessMM float64 // the same

	Out time.Time // of a hot stage: the meat has been out of the cold since, as far as the lot tells; zero: not known
}
