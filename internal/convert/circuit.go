package convert

import "errors"

// What a resistance beyond every temperature of its sensor points at. The errors of resistive sensors wrap one of them.
var (
	ErrOpenCircuit  = errors.New("open circuit")
	ErrShortCircuit = errors.New("short circuit")
)

// circuit says which of the two it is: beyond a sensor's highest resistance it is open, below its lowest it is shorted.
func circuit(beyondHighest bool) error {
	if beyondHighest {
		return ErrOpenCircuit
	}
	return ErrShortCircuit
}
