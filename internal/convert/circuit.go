package convert

import "errors"

// What a resistance beyond every temperature of its sensor points at. The errors of resistive sensors wrap one of them.
var (
	ErrOpenCircuit  = errors.New("open circuit")
	ErrShortCircuit = errors.New("short circuit")
)

// circuit is what points to which end: beyond the highest resistance of a sensor it is open, below the lowest it is shorted.
func circuit(beyondHighest bool) error {
	if beyondHighest {
		return ErrOpenCircuit
	}
	return ErrShortCircuit
}
