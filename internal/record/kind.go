package record

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"stallkeeper/internal/cook"
)

// Kind says what an entry tells.
type Kind string

// The kinds of entry. The types of their bodies have the same names.
const (
	KindOpened           Kind = "lot-opened"
	KindChanged          Kind = "lot-changed"
	KindClosed           Kind = "lot-closed"
	KindPiece            Kind = "piece"
	KindRawMaterial      Kind = "raw-material"
	KindWeighed          Kind = "weighed"
	KindFormulation      Kind = "formulation"
	KindStageStarted     Kind = "stage-started"
	KindStageEnded       Kind = "stage-ended"
	KindMonitoring       Kind = "monitoring"
	KindProbeChecked     Kind = "probe-checked"
	KindDeviation        Kind = "deviation"
	KindCorrectiveAction Kind = "corrective-action"
	KindVerification     Kind = "verification"
	KindReview           Kind = "pre-shipment-review"
	KindPlanned          Kind = "planned"
	KindPortioned        Kind = "portioned"
	KindTaken            Kind = "portions-taken"
	KindNote             Kind = "note"
	KindWithdrawal       Kind = "withdrawal" // the entry that it corrects never happened
	KindKey              Kind = "key"
)

// Body is what an entry tells, by its kind. To add a kind: its constant, its type with Kind and Validate, its line in newBody, and
// its case in Lot.take.
type Body interface {
	Kind() Kind
	Validate() error // everything that is wrong with it by itself
}

// newBody gives an empty body of each kind, to decode into.
func newBody(k Kind) Body {
	switch k {
	case KindOpened:
		return &Opened{}
	case KindChanged:
		return &Changed{}
	case KindClosed:
		return &Closed{}
	case KindPiece:
		return &Piece{}
	case KindRawMaterial:
		return &RawMaterial{}
	case KindWeighed:
		return &Weighed{}
	case KindFormulation:
		return &Formulation{}
	case KindStageStarted:
		return &StageStarted{}
	case KindStageEnded:
		return &StageEnded{}
	case KindMonitoring:
		return &Monitoring{}
	case KindProbeChecked:
		return &ProbeChecked{}
	case KindDeviation:
		return &Deviation{}
	case KindCorrectiveAction:
		return &CorrectiveAction{}
	case KindVerification:
		return &Verification{}
	case KindReview:
		return &Review{}
	case KindPlanned:
		return &Planned{}
	case KindPortioned:
		return &Portioned{}
	case KindTaken:
		return &Taken{}
	case KindNote:
		return &Note{}
	case KindWithdrawal:
		return &Withdrawal{}
	case KindKey:
		return &Key{}
	}
	return nil
}

// Kinds lists the kinds in the order of the work.
func Kinds() []Kind {
	return []Kind{KindOpened, KindChanged, KindPiece, KindRawMaterial, KindWeighed, KindFormulation, KindStageStarted, KindStageEnded, KindMonitoring,
		KindProbeChecked, KindDeviation, KindCorrectiveAction, KindVerification, KindReview, KindPlanned, KindPortioned, KindTaken, KindClosed, KindNote, KindWithdrawal, KindKey}
}

// needsLot reports whether an entry of the kind makes no sense without a lot.
func needsLot(k Kind) bool {
	return !slices.Contains([]Kind{KindMonitoring, KindProbeChecked, KindDeviation, KindCorrectiveAction, KindVerification, KindNote, KindWithdrawal, KindKey}, k)
}

// Decode reads a body strictly: an unknown key is an error. It gives a pointer to the body's type.
func Decode(k Kind, body []byte) (Body, error) {
	out := newBody(k)
	if out == nil {
		names := make([]string, 0, len(Kinds()))
		for _, one := range Kinds() {
			names = append(names, string(one))
		}
		return nil, fmt.Errorf("kind %q is not known: use one of %s", clip(string(k)), strings.Join(names, " "))
	}
	if err := cook.DecodeStrict(body, out); err != nil {
		return nil, fmt.Errorf("%s: %w", k, err)
	}
	return out, nil
}

// Decode reads the entry's body.
func (e Entry) Decode() (Body, error) {
	out, err := Decode(e.Kind, e.Body)
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", e.Seq, err)
	}
	return out, nil
}

// raw is any JSON that others define, such as what the brine calculation prints.
type raw = json.RawMessage
