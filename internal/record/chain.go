package record

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Hash is a SHA-256 (FIPS 180-4), written as 64 hexadecimal digits.
type Hash [sha256.Size]byte

// String is the hash in lower-case hexadecimal.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText writes the hash in hexadecimal.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads 64 hexadecimal digits; upper case is refused, so that a hash has one form.
func (h *Hash) UnmarshalText(text []byte) error {
	if len(text) != 2*sha256.Size || bytes.ContainsAny(text, "ABCDEF") {
		return errors.New("a hash is 64 hexadecimal digits in lower case")
	}
	_, err := hex.Decode(h[:], text)
	return err
}

// Link is a place in a chain: its number, whose it is (the lot of an entry, the probe of a seal), the hash of its content and the hash
// before it. It can be shown without the content, so that an export of one lot proves that nothing of the lot was left
// out and tells nothing of the others.
type Link struct {
	Seq     int64  `json:"seq"`
	Of      string `json:"of"`
	Content Hash   `json:"content"`
	Prev    Hash   `json:"prev"`
}

// Hash is the SHA-256 of the canonical JSON {"content":…,"of":…,"prev":…,"seq":…}.
func (l Link) Hash() Hash {
	b := append(append([]byte(`{"content":"`), l.Content.String()...), `","of":`...)
	b = append(appendString(b, l.Of), `,"prev":"`...)
	b = append(b, l.Prev.String()...)
	return sha256.Sum256(fmt.Appendf(b, `","seq":%d}`, l.Seq))
}

// Seal says what the readings of one probe within one hour were. Readings that come later make a new seal, which names the one it replaces.
type Seal struct {
	Seq int64 `json:"seq"` // 1, 2, 3, ... without a gap
	Readings
	Made     time.Time `json:"made"`
	Replaces int64     `json:"replaces,omitempty"` // the seal of the same hour before readings came late; 0 = none
	Prev     Hash      `json:"prev"`
	Hash     Hash      `json:"hash"`
}

// Readings sums up the readings of one probe within one hour.
type Readings struct {
	Probe  cook.ProbeID     `json:"probe"`
	Hour   time.Time        `json:"hour"` // its start, UTC
	Count  int64            `json:"count"`
	Min    *thermal.Celsius `json:"min_c"` // of the good readings; null when there is none
	Max    *thermal.Celsius `json:"max_c"`
	Digest Hash             `json:"digest"` // see Digester
	// Through is the newest reading in the order of commits that was there when the hour was sealed; later ones are not in it.
	Through int64 `json:"through"`
}

// Follow makes the seal of readings that follows the one before it.
func (r Readings) Follow(seq int64, prev Hash, made time.Time, replaces int64) Seal {
	s := Seal{Seq: seq, Readings: r, Made: cook.Instant(made), Replaces: replaces, Prev: prev}
	s.Hash = s.Link().Hash()
	return s
}

// content is the canonical JSON of count, digest, hour, made, max, min, probe, replaces and through.
func (s Seal) content() []byte {
	b := fmt.Appendf(nil, `{"count":%d,"digest":"%s","hour":"%s","made":"%s","max":`, s.Count, s.Digest, s.Hour.UTC().Format(timeForm), s.Made.UTC().Format(timeForm))
	b = append(appendCelsius(b, s.Max), `,"min":`...)
	b = append(appendCelsius(b, s.Min), `,"probe":`...)
	return fmt.Appendf(appendString(b, string(s.Probe)), `,"replaces":%d,"through":%d}`, s.Replaces, s.Through)
}

func appendCelsius(b []byte, c *thermal.Celsius) []byte {
	if c == nil {
		return append(b, "null"...)
	}
	return appendNumber(b, float64(*c))
}

// Link gives the seal's place in the chain of seals, from what it says.
func (s Seal) Link() Link {
	return Link{Seq: s.Seq, Of: string(s.Probe), Content: sha256.Sum256(s.content()), Prev: s.Prev}
}

// Digester sums up readings in the order of their times. Its digest is the SHA-256 over, for each reading, big-endian: the time in microseconds
// since 1970 (8 bytes), the IEEE 754 bits of the Celsius (8), delay in microseconds or the least integer when the arrival is unknown (8), the
// device's count (8), flags retained 1 and backlog 2 (1), and the texts of quality, clock and raw value, each after its length (4).
type Digester struct {
	sum hash.Hash
	buf []byte
	r   Readings
}

// NewDigester begins the hour of a probe.
func NewDigester(probe cook.ProbeID, hour time.Time) *Digester {
	return &Digester{sum: sha256.New(), r: Readings{Probe: probe, Hour: hour.UTC()}}
}

// Add takes the next reading.
func (d *Digester) Add(r cook.Reading) {
	delay := int64(math.MinInt64)
	if !r.Arrived.IsZero() {
		delay = r.Arrived.UnixMicro() - r.Time.UnixMicro()
	}
	var flags byte
	if r.Retained {
		flags |= 1
	}
	if r.Backlog {
		flags |= 2
	}
	b := binary.BigEndian.AppendUint64(d.buf[:0], uint64(r.Time.UnixMicro()))
	b = binary.BigEndian.AppendUint64(b, math.Float64bits(float64(r.Celsius)))
	b = binary.BigEndian.AppendUint64(b, uint64(delay))
	b = binary.BigEndian.AppendUint64(b, uint64(r.Seq))
	b = append(b, flags)
	for _, text := range []string{string(r.Quality), string(r.Clock), r.Raw} {
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(text))), text...)
	}
	d.buf = b
	d.sum.Write(b)
	d.r.Count++
	if r.Quality != cook.Good {
		return
	}
	if c := r.Celsius; d.r.Min == nil {
		low, high := c, c
		d.r.Min, d.r.Max = &low, &high
	} else {
		*d.r.Min, *d.r.Max = min(*d.r.Min, c), max(*d.r.Max, c)
	}
}

// Readings is the sum of what was added.
func (d *Digester) Readings() Readings {
	r := d.r
	r.Digest = Hash(d.sum.Sum(nil))
	return r
}

// Checkpoint is a signed statement of how far both chains reached at a time.
type Checkpoint struct {
	At        time.Time `json:"at"`
	Seq       int64     `json:"seq"`   // the newest entry; 0 = none yet
	Head      Hash      `json:"head"`  // its hash
	Seal      int64     `json:"seal"`  // the newest seal; 0 = none yet
	Seals     Hash      `json:"seals"` // its hash
	Key       PublicKey `json:"key"`
	Signature Signature `json:"signature"`
}

// message is what is signed: a line of its own and the canonical JSON of the rest.
func (c Checkpoint) message() []byte {
	key, _ := c.Key.MarshalText() // it never fails
	return fmt.Appendf(nil, "stallkeeper checkpoint 1\n"+`{"at":"%s","head":"%s","key":"%s","seal":%d,"seals":"%s","seq":%d}`+"\n",
		c.At.UTC().Format(timeForm), c.Head, key, c.Seal, c.Seals, c.Seq)
}

// Sign gives the checkpoint signed by a key.
func (c Checkpoint) Sign(key ed25519.PrivateKey) Checkpoint {
	c.At, c.Key = cook.Instant(c.At), publicOf(key)
	c.Signature = ed25519.Sign(key, c.message())
	return c
}

// Check reports a signature that its own key did not make.
func (c Checkpoint) Check() error {
	if len(c.Key) != ed25519.PublicKeySize || !ed25519.Verify(ed25519.PublicKey(c.Key), c.message(), c.Signature) {
		return fmt.Errorf("the signature by key %s is wrong", c.Key.ID())
	}
	return nil
}

// Same reports whether two checkpoints say the same of both chains, with the same key.
func (c Checkpoint) Same(other Checkpoint) bool {
	return c.Seq == other.Seq && c.Head == other.Head && c.Seal == other.Seal && c.Seals == other.Seals && slices.Equal(c.Key, other.Key)
}
