package record

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
)

// PublicKey is an Ed25519 key (RFC 8032) that checks signatures, written as base64.
type PublicKey ed25519.PublicKey

// ID is the first 16 hexadecimal digits of the key's SHA-256, to tell keys apart; the whole key is what counts.
func (k PublicKey) ID() string {
	sum := sha256.Sum256(k)
	return hex.EncodeToString(sum[:8])
}

// MarshalText writes base64.
func (k PublicKey) MarshalText() ([]byte, error) {
	return []byte(base64.StdEncoding.EncodeToString(k)), nil
}

// UnmarshalText reads the base64 of 32 bytes.
func (k *PublicKey) UnmarshalText(text []byte) error {
	b, err := base64.StdEncoding.Strict().DecodeString(string(text))
	if err != nil || len(b) != ed25519.PublicKeySize {
		return errors.New("a public key is the base64 of 32 bytes")
	}
	*k = b
	return nil
}

// Equal reports whether both are the same key.
func (k PublicKey) Equal(other PublicKey) bool { return string(k) == string(other) }

// Signature is an Ed25519 signature, written as base64.
type Signature []byte

// MarshalText writes base64.
func (s Signature) MarshalText() ([]byte, error) {
	return []byte(base64.StdEncoding.EncodeToString(s)), nil
}

// UnmarshalText reads the base64 of 64 bytes.
func (s *Signature) UnmarshalText(text []byte) error {
	b, err := base64.StdEncoding.Strict().DecodeString(string(text))
	if err != nil || len(b) != ed25519.SignatureSize {
		return errors.New("a signature is the base64 of 64 bytes")
	}
	*s = b
	return nil
}

// Key is the body of an entry that brings in the key of the checkpoints from then on. The first is signed by itself, each later one
// by the key before it, so that whoever has any one of the keys can tell that the later ones follow from it.
type Key struct {
	Public    PublicKey `json:"public"`
	Before    PublicKey `json:"before,omitempty"` // the key that signs; empty: the first, signed by itself
	Signature Signature `json:"signature"`
}

// Kind is key.
func (Key) Kind() Kind { return KindKey }

// Validate checks the signature.
func (k Key) Validate() error {
	signer := k.Before
	if len(signer) == 0 {
		signer = k.Public
	}
	if len(k.Public) != ed25519.PublicKeySize || len(signer) != ed25519.PublicKeySize {
		return errors.New("public is missing: give the new key")
	}
	if !ed25519.Verify(ed25519.PublicKey(signer), keyMessage(k.Public, k.Before), k.Signature) {
		return fmt.Errorf("the signature of key %s by key %s is wrong", k.Public.ID(), signer.ID())
	}
	return nil
}

// NewKey makes the body that brings in a key; before is the key in force until then, nil for the first.
func NewKey(next, before ed25519.PrivateKey) Key {
	k := Key{Public: publicOf(next)}
	signer := next
	if before != nil {
		k.Before, signer = publicOf(before), before
	}
	k.Signature = ed25519.Sign(signer, keyMessage(k.Public, k.Before))
	return k
}

func publicOf(k ed25519.PrivateKey) PublicKey {
	return PublicKey(k[ed25519.PrivateKeySize-ed25519.PublicKeySize:]) // RFC 8032 keeps the public half behind the seed
}

// keyMessage is what is signed: a line that no checkpoint begins with, and both keys.
func keyMessage(next, before PublicKey) []byte {
	return fmt.Appendf(nil, "stallkeeper key 1\n%x\n%x\n", []byte(next), []byte(before))
}
