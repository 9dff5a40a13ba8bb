// Package signer keeps the Ed25519 key that signs the checkpoints of the records, in files of the data folder.
//
// records.key is the private key (PKCS #8 in PEM), mode 0600; records.pub the public key (PEM), for everybody. A new key is first
// laid beside the old one as records.key.next, then entered in the journal, then put in its place, so that a power cut between the
// steps loses neither: Open takes up what was begun. Whoever can read records.key can rewrite the history of the records. The old
// key is gone after a change. `stallkeeper backup` does not copy keys.
package signer

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"stallkeeper/internal/record"
)

// The names of the files.
const (
	KeyFile    = "records.key"
	PublicFile = "records.pub"
	nextFile   = "records.key.next"
)

// Keys are the keys of a data folder.
type Keys struct {
	dir     string
	Current ed25519.PrivateKey
	Next    ed25519.PrivateKey // a change that was begun; nil without one
}

// Open reads the keys, and makes the first one where there is none. created reports that.
func Open(dir string) (k *Keys, created bool, err error) {
	k = &Keys{dir: dir}
	k.Current, err = readPrivate(filepath.Join(dir, KeyFile))
	if errors.Is(err, fs.ErrNotExist) {
		created = true
		k.Current, err = generate(filepath.Join(dir, KeyFile))
	}
	if err != nil {
		return nil, false, err
	}
	k.Next, err = readPrivate(filepath.Join(dir, nextFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, false, err
	}
	return k, created, k.republish()
}

// republish writes the public key if the file does not hold it: a power cut may have come between the two files.
func (k *Keys) republish() error {
	if public, err := ReadPublic(filepath.Join(k.dir, PublicFile)); err == nil && public.Equal(k.Public()) {
		return nil
	}
	return k.publish()
}

// Prepare lays a new key beside the current one.
func (k *Keys) Prepare() error {
	if k.Next != nil { // begun before, and never entered in the journal
		return nil
	}
	next, err := generate(filepath.Join(k.dir, nextFile))
	k.Next = next
	return err
}

// Change puts the prepared key in the place of the current one, which is gone then.
func (k *Keys) Change() error {
	if err := os.Rename(filepath.Join(k.dir, nextFile), filepath.Join(k.dir, KeyFile)); err != nil {
		return fmt.Errorf("change the key of the records: %w", err)
	}
	k.Current, k.Next = k.Next, nil
	return k.publish()
}

// Public is the key that checks what the current key signs.
func (k *Keys) Public() record.PublicKey { return PublicOf(k.Current) }

// PublicOf gives the public half of a key.
func PublicOf(k ed25519.PrivateKey) record.PublicKey {
	return record.PublicKey(k[ed25519.PrivateKeySize-ed25519.PublicKeySize:])
}

// publish writes the public key.
func (k *Keys) publish() error {
	text, err := PublicPEM(k.Public())
	if err != nil {
		return err
	}
	return writeWhole(filepath.Join(k.dir, PublicFile), text, 0o644)
}

// PublicPEM writes a public key as other programs read it (RFC 8410).
func PublicPEM(k record.PublicKey) ([]byte, error) {
	der, err := x509.MarshalPKIXPublicKey(ed25519.PublicKey(k))
	if err != nil {
		return nil, fmt.Errorf("write public key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}), nil
}

// ReadPublic reads a public key from a file: PEM, or the bare base64 that exports show.
func ReadPublic(path string) (record.PublicKey, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read public key: %w", err)
	}
	if block, _ := pem.Decode(data); block != nil {
		parsed, err := x509.ParsePKIXPublicKey(block.Bytes)
		key, ok := parsed.(ed25519.PublicKey)
		if err != nil || !ok {
			return nil, fmt.Errorf("public key %q is not an Ed25519 key in PEM: give the file %s", path, PublicFile)
		}
		return record.PublicKey(key), nil
	}
	var key record.PublicKey
	if err := key.UnmarshalText(bytes.TrimSpace(data)); err != nil {
		return nil, fmt.Errorf("public key %q: %w: give the file %s", path, err, PublicFile)
	}
	return key, nil
}

func generate(path string) (ed25519.PrivateKey, error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make key: %w", err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("make key: %w", err)
	}
	return key, writeWhole(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600)
}

func readPrivate(path string) (ed25519.PrivateKey, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("read key of the records: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("key of the records %q can be read by others than its owner: chmod 600 it; if others may have read it, change it with `stallkeeper records key --change`", path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read key of the records: %w", err)
	}
	if block, _ := pem.Decode(data); block != nil {
		parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
		if key, ok := parsed.(ed25519.PrivateKey); err == nil && ok {
			return key, nil
		}
	}
	return nil, fmt.Errorf("key of the records %q is damaged: put it back from where you keep a copy, or move it away to get a new one", path)
}

// writeWhole writes a file so that it is there as a whole or not at all, also after a power cut.
func writeWhole(path string, data []byte, mode fs.FileMode) (err error) {
	part := path + ".part"
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, mode)
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(part, path)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return errors.Join(dir.Sync(), dir.Close())
}
