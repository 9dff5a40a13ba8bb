package notify

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// Sizes of RFC 8188 and RFC 8291, in bytes.
const (
	saltSize   = 16
	authSize   = 16
	pointSize  = 65   // an uncompressed point of P-256
	recordSize = 4096 // RFC 8291, section 4: one record, and no larger
	tagSize    = 16   // of AES-GCM

	// largestPush is what fits into a record beside salt, record size, key, delimiter and tag.
	largestPush = recordSize - (saltSize + 4 + 1 + pointSize) - 1 - tagSize
)

// encryptRecord is the content encoding aes128gcm of RFC 8188 with everything in one record, the last: header (salt, record
// size, key ID), then the text with its delimiter 2, encrypted. secret is the input keying material.
func encryptRecord(secret, salt, keyID, text []byte) ([]byte, error) {
	prk, err := hkdf.Extract(sha256.New, secret, salt)
	if err != nil {
		return nil, err
	}
	cek, err := hkdf.Expand(sha256.New, prk, "Content-Encoding: aes128gcm\x00", 16)
	if err != nil {
		return nil, err
	}
	nonce, err := hkdf.Expand(sha256.New, prk, "Content-Encoding: nonce\x00", 12)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(cek)
	if err != nil {
		return nil, err
	}
	aead, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	out := append([]byte{}, salt...)
	out = binary.BigEndian.AppendUint32(out, recordSize)
	out = append(append(out, byte(len(keyID))), keyID...)
	return aead.Seal(out, nonce, append(append([]byte{}, text...), 2), nil), nil // the first record has the nonce as it is
}

// encryptPush encrypts a text for a browser by RFC 8291: public and auth are the browser's, own and salt are fresh for each
// message.
func encryptPush(public, auth, text, salt []byte, own *ecdh.PrivateKey) ([]byte, error) {
	if len(text) > largestPush {
		return nil, fmt.Errorf("encrypt push message: %d bytes do not fit into %d", len(text), largestPush)
	}
	theirs, err := pushKey(public, auth)
	if err != nil {
		return nil, err
	}
	shared, err := own.ECDH(theirs)
	if err != nil {
		return nil, fmt.Errorf("encrypt push message: %w", err)
	}
	prk, err := hkdf.Extract(sha256.New, shared, auth)
	if err != nil {
		return nil, err
	}
	ours := own.PublicKey().Bytes()
	secret, err := hkdf.Expand(sha256.New, prk, "WebPush: info\x00"+string(public)+string(ours), 32)
	if err != nil {
		return nil, err
	}
	return encryptRecord(secret, salt, ours, text)
}

// pushKey checks what a browser gave.
func pushKey(public, auth []byte) (*ecdh.PublicKey, error) {
	if len(auth) != authSize {
		return nil, fmt.Errorf("the secret of the subscription has %d bytes, not %d", len(auth), authSize)
	}
	key, err := ecdh.P256().NewPublicKey(public)
	if err != nil || len(public) != pointSize {
		return nil, errors.New("the key of the subscription is no uncompressed point of P-256")
	}
	return key, nil
}
