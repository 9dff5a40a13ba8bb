package notify

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"
)

// VAPID is the key by which push services know this daemon (RFC 8292).
type VAPID struct {
	key    *ecdsa.PrivateKey
	public []byte // uncompressed
}

// LoadVAPID reads the key from a file, and makes key and file when there is none. Nobody but the owner may read the file:
// whoever has it can push to every subscribed browser that they know of.
func LoadVAPID(path string) (*VAPID, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeVAPID(path)
	}
	if err != nil {
		return nil, fmt.Errorf("read push key: %w", err)
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("read push key: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("read push key: others may read %q: chmod 600 it", path)
	}
	block, _ := pem.Decode(data)
	if block == nil {
		return nil, fmt.Errorf("read push key: %q is no PEM file: put it back from a backup, or remove it and subscribe every browser anew", path)
	}
	any, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("read push key %q: %w", path, err)
	}
	key, ok := any.(*ecdsa.PrivateKey)
	if !ok || key.Curve != elliptic.P256() {
		return nil, fmt.Errorf("read push key: %q holds no key of P-256", path)
	}
	return newVAPID(key)
}

func makeVAPID(path string) (*VAPID, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make push key: %w", err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("make push key: %w", err)
	}
	// First under another name: a file that is there is whole.
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*") // 0600
	if err != nil {
		return nil, fmt.Errorf("make push key: %w", err)
	}
	err = errors.Join(pem.Encode(f, &pem.Block{Type: "PRIVATE KEY", Bytes: der}), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("make push key: %w", err), os.Remove(f.Name()))
	}
	return newVAPID(key)
}

func newVAPID(key *ecdsa.PrivateKey) (*VAPID, error) {
	public, err := key.PublicKey.Bytes()
	if err != nil {
		return nil, fmt.Errorf("read push key: %w", err)
	}
	return &VAPID{key, public}, nil
}

// Public is the key as a browser wants it for a subscription: an uncompressed point in base64url without padding.
func (v *VAPID) Public() string { return base64.RawURLEncoding.EncodeToString(v.public) }

// tokenLife is how long a token is good; RFC 8292 allows a day.
const tokenLife = 12 * time.Hour

// authorization gives the header for a push service: a signed statement of who sends, for this service only and a while.
func (v *VAPID) authorization(endpoint *url.URL, contact string, now time.Time) (string, error) {
	claims, err := json.Marshal(struct {
		Audience string `json:"aud"`
		Expires  int64  `json:"exp"`
		Subject  string `json:"sub"`
	}{endpoint.Scheme + "://" + endpoint.Host, now.Add(tokenLife).Unix(), contact})
	if err != nil {
		return "", err
	}
	b64 := base64.RawURLEncoding
	text := b64.EncodeToString([]byte(`{"typ":"JWT","alg":"ES256"}`)) + "." + b64.EncodeToString(claims)
	sum := sha256.Sum256([]byte(text))
	r, s, err := ecdsa.Sign(rand.Reader, v.key, sum[:])
	if err != nil {
		return "", fmt.Errorf("sign for the push service: %w", err)
	}
	var signature [64]byte // RFC 7518, section 3.4: r and s, 32 bytes each
	r.FillBytes(signature[:32])
	s.FillBytes(signature[32:])
	return "vapid t=" + text + "." + b64.EncodeToString(signature[:]) + ", k=" + v.Public(), nil
}
