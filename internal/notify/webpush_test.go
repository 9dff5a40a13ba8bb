package notify

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
)

func unbase64(tb testing.TB, s string) []byte {
	tb.Helper()
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// RFC 8188, section 3.1.
func TestEncryptRecord_RFC8188(t *testing.T) {
	got, err := encryptRecord(unbase64(t, "yqdlZ-tYemfogSmv7Ws5PQ"), unbase64(t, "I1BsxtFttlv3u_Oo94xnmw"), nil, []byte("I am the walrus"))
	if err != nil {
		t.Fatal(err)
	}
	if want := "I1BsxtFttlv3u_Oo94xnmwAAEAAA-NAVub2qFgBEuQKRapoZu-IxkIva3MEB1PD-ly8Thjg"; base64.RawURLEncoding.EncodeToString(got) != want {
		t.Errorf("record %s, want %s", base64.RawURLEncoding.EncodeToString(got), want)
	}
}

// RFC 8291, section 5 and appendix A.
func TestEncryptPush_RFC8291(t *testing.T) {
	own, err := ecdh.P256().NewPrivateKey(unbase64(t, "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := own.PublicKey().Bytes(), unbase64(t, "BP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A8"); !slices.Equal(got, want) {
		t.Errorf("as_public %x, want %x", got, want)
	}
	got, err := encryptPush(unbase64(t, "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"), unbase64(t, "BTBZMqHH6r4Tts7J_aSIgg"),
		[]byte("When I grow up, I want to be a watermelon"), unbase64(t, "DGv6ra1nlYgDCS1FRnbzlw"), own)
	if err != nil {
		t.Fatal(err)
	}
	want := "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27ml" +
		"mlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPT" +
		"pK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
	if base64.RawURLEncoding.EncodeToString(got) != want {
		t.Errorf("body %s, want %s", base64.RawURLEncoding.EncodeToString(got), want)
	}
}

// verifyToken checks an Authorization header of RFC 8292 and gives the claims.
func verifyToken(tb testing.TB, header string) (claims map[string]any) {
	tb.Helper()
	rest, ok := strings.CutPrefix(header, "vapid t=")
	token, k, ok2 := strings.Cut(rest, ", k=")
	parts := strings.Split(token, ".")
	if !ok || !ok2 || len(parts) != 3 {
		tb.Fatalf("header %q", header)
	}
	if head := string(unbase64(tb, parts[0])); head != `{"typ":"JWT","alg":"ES256"}` {
		tb.Errorf("token head %s", head)
	}
	public, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), unbase64(tb, k))
	if err != nil {
		tb.Fatal(err)
	}
	sum, signature := sha256.Sum256([]byte(parts[0]+"."+parts[1])), unbase64(tb, parts[2])
	if len(signature) != 64 || !ecdsa.Verify(public, sum[:], new(big.Int).SetBytes(signature[:32]), new(big.Int).SetBytes(signature[32:])) {
		tb.Error("the signature is wrong")
	}
	if err := json.Unmarshal(unbase64(tb, parts[1]), &claims); err != nil {
		tb.Fatal(err)
	}
	return claims
}

// The example of RFC 8292, section 2.4, passes the check that our own tokens must pass.
func TestVAPID_RFC8292(t *testing.T) {
	claims := verifyToken(t, "vapid t=eyJ0eXAiOiJKV1QiLCJhbGciOiJFUzI1NiJ9.eyJhdWQiOiJodHRwczovL3B1c2guZXhhbXBsZS5uZXQiLCJleHAiOjE0NTM1MjM3NjgsInN1YiI6Im1h"+
		"aWx0bzpwdXNoQGV4YW1wbGUuY29tIn0.i3CYb7t4xfxCDquptFOepC9GAu_HLGkMlMuCGSK2rpiUfnK9ojFwDXb1JrErtmysazNjjvW2L9OkSSHzvoD1oA, "+
		"k=BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs")
	if want := map[string]any{"aud": "https://push.example.net", "exp": 1453523768.0, "sub": "mailto:push@example.com"}; !maps.Equal(claims, want) {
		t.Errorf("claims %v, want %v", claims, want)
	}
	v, err := LoadVAPID(filepath.Join(t.TempDir(), "key"))
	if err != nil {
		t.Fatal(err)
	}
	at := time.Unix(1453480568, 0) // twelve hours before the example ends
	header, err := v.authorization(&url.URL{Scheme: "https", Host: "push.example.net", Path: "/secret"}, "mailto:push@example.com", at)
	if err != nil {
		t.Fatal(err)
	}
	if got := verifyToken(t, header); !maps.Equal(got, claims) {
		t.Errorf("our claims %v, want %v", got, claims)
	}
}

func TestLoadVAPID_KeepsItsKeyToItself(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	first, err := LoadVAPID(path)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("file mode %v, %v, want 0600", info.Mode(), err)
	}
	again, err := LoadVAPID(path)
	if err != nil || again.Public() != first.Public() || len(unbase64(t, again.Public())) != pointSize {
		t.Errorf("read again: %v, %v", again, err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadVAPID(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a key that others may read: %v", err)
	}
	if err := os.WriteFile(path, []byte("no key"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadVAPID(path); err == nil || !strings.Contains(err.Error(), "no PEM file") {
		t.Errorf("a broken key: %v", err)
	}
}

// phone is a browser with its push service, and the subscriptions of one path.
type phone struct {
	tb     testing.TB
	key    *ecdh.PrivateKey
	auth   []byte
	subs   []Subscription
	answer int              // of the service; 0 is 201
	at     map[string]int   // or of one endpoint
	got    []map[string]any // decrypted
	heads  []http.Header
	taken  map[string]int // by path of the endpoint
}

func newPhone(tb testing.TB, endpoints ...string) *phone {
	tb.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	p := &phone{tb: tb, key: key, auth: []byte("sixteen bytes ok"), at: map[string]int{}, taken: map[string]int{}}
	for _, e := range endpoints {
		p.subs = append(p.subs, Subscription{Endpoint: e, Public: key.PublicKey().Bytes(), Auth: p.auth})
	}
	return p
}

func (p *phone) Subscribed(context.Context, string) ([]Subscription, error) {
	return slices.Clone(p.subs), nil
}

func (p *phone) Unsubscribe(_ context.Context, endpoint string) error {
	p.subs = slices.DeleteFunc(p.subs, func(s Subscription) bool { return s.Endpoint == endpoint })
	return nil
}

// decrypt is the receiver's side of RFC 8291, written from its section 3.4.
func (p *phone) decrypt(body []byte) []byte {
	p.tb.Helper()
	salt, keyID, rest := body[:16], body[21:21+int(body[20])], body[21+int(body[20]):]
	sender, err := ecdh.P256().NewPublicKey(keyID)
	if err != nil {
		p.tb.Fatal(err)
	}
	shared, err := p.key.ECDH(sender)
	if err != nil {
		p.tb.Fatal(err)
	}
	must := func(b []byte, err error) []byte {
		if err != nil {
			p.tb.Fatal(err)
		}
		return b
	}
	ikm := must(hkdf.Key(sha256.New, shared, p.auth, "WebPush: info\x00"+string(p.key.PublicKey().Bytes())+string(keyID), 32))
	cek := must(hkdf.Key(sha256.New, ikm, salt, "Content-Encoding: aes128gcm\x00", 16))
	nonce := must(hkdf.Key(sha256.New, ikm, salt, "Content-Encoding: nonce\x00", 12))
	block, err := aes.NewCipher(cek)
	if err != nil {
		p.tb.Fatal(err)
	}
	aead, err := cipher.NewGCM(block)
	if err != nil {
		p.tb.Fatal(err)
	}
	text := must(aead.Open(nil, nonce, rest, nil))
	if text[len(text)-1] != 2 {
		p.tb.Fatal("no delimiter of the last record")
	}
	return text[:len(text)-1]
}

func (p *phone) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	code := max(p.answer, p.at[r.URL.Path])
	if code == 0 {
		code = http.StatusCreated
	}
	if code == http.StatusCreated {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			p.tb.Error(err)
		}
		var m map[string]any
		if err := json.Unmarshal(p.decrypt(body), &m); err != nil {
			p.tb.Error(err)
		}
		p.got, p.heads = append(p.got, m), append(p.heads, r.Header)
		p.taken[r.URL.Path]++
	}
	if code/100 == 3 {
		w.Header().Set("Location", "https://push.example.net/other")
	}
	w.WriteHeader(code)
}

// sender reaches the phone's service, which stands for every host, over TLS.
func (p *phone) sender() *WebPush {
	p.tb.Helper()
	server := httptest.NewTLSServer(p)
	p.tb.Cleanup(server.Close)
	key, err := LoadVAPID(filepath.Join(p.tb.TempDir(), "key"))
	if err != nil {
		p.tb.Fatal(err)
	}
	through := &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, // the test's own server
		DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, network, server.Listener.Addr().String())
		}}
	return newWebPush(WebPushOptions{Key: key, Contact: "mailto:cook@example.org", Subscribers: p, Link: "https://smoker.example.org", Zone: time.UTC,
		Limit: 5 * time.Second, Now: func() time.Time { return time.Date(2026, 5, 3, 2, 40, 0, 0, time.UTC) }}, through)
}

func fading(path string) Message {
	a := alarm.Alarm{ID: "pit-falling/1", Kind: alarm.PitFalling, Priority: alarm.High, State: alarm.Active, Raised: time.Date(2026, 5, 3, 2, 39, 0, 0, time.UTC),
		Because: "Pit 89 °C and falling, 17 °C in the last 30 min, setpoint 107 °C. The fire may be dying: add fuel or open the air."}
	return Message{ID: identify("one"), Path: path, Made: a.Raised, For: Raised, Why: "it began", Items: []Item{{Alarm: a, Because: a.Because, Firing: true}}}
}

func TestWebPush_ReachesEveryBrowserOfThePath(t *testing.T) {
	p := newPhone(t, "https://push.example.net/a", "https://other.example.com/b")
	if err := p.sender().Send(t.Context(), fading("phone")); err != nil {
		t.Fatal(err)
	}
	if len(p.got) != 2 {
		t.Fatalf("%d notifications, want 2", len(p.got))
	}
	if got := p.got[0]; got["title"] != "Now: Pit 89 °C and falling, 17 °C in the last 30 min, setpoint 107 °C" || got["urgent"] != true ||
		!strings.Contains(got["body"].(string), "add fuel") || got["url"] != "https://smoker.example.org" {
		t.Errorf("notification %v", got)
	}
	h := p.heads[1]
	if h.Get("Ttl") != "14400" || h.Get("Urgency") != "high" || h.Get("Content-Encoding") != "aes128gcm" || len(h.Get("Topic")) != 32 {
		t.Errorf("headers %v", h)
	}
	if claims := verifyToken(t, h.Get("Authorization")); claims["aud"] != "https://other.example.com" || claims["sub"] != "mailto:cook@example.org" {
		t.Errorf("claims %v", claims)
	}
}

func TestWebPush_DropsWhoIsGoneAndRepeatsOnlyWhatFailed(t *testing.T) {
	p := newPhone(t, "https://push.example.net/a", "https://push.example.net/gone", "https://push.example.net/never", "https://push.example.net/slow")
	p.at["/gone"], p.at["/never"], p.at["/slow"] = http.StatusGone, http.StatusNotFound, http.StatusServiceUnavailable
	s := p.sender()
	err := s.Send(t.Context(), fading("phone"))
	if err == nil || errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), "503") || strings.Contains(err.Error(), "/slow") {
		t.Errorf("Send = %v, want the 503 without the endpoint", err)
	}
	if len(p.subs) != 2 {
		t.Errorf("%d subscriptions left, want 2", len(p.subs))
	}
	delete(p.at, "/slow")
	if err := s.Send(t.Context(), fading("phone")); err != nil {
		t.Fatal(err)
	}
	if want := map[string]int{"/a": 1, "/slow": 1}; !maps.Equal(p.taken, want) {
		t.Errorf("taken %v, want %v", p.taken, want)
	}
	p.answer = http.StatusGone
	m := fading("phone")
	m.ID = identify("two")
	if err := s.Send(t.Context(), m); err == nil || !strings.Contains(err.Error(), "no browser is subscribed") || len(p.subs) != 0 {
		t.Errorf("Send to nobody = %v with %d left", err, len(p.subs))
	}
}

func TestWebPush_FollowsNoRedirectAndSaysNoAnswer(t *testing.T) {
	p := newPhone(t, "https://push.example.net/a")
	p.answer = http.StatusTemporaryRedirect
	if err := p.sender().Send(t.Context(), fading("phone")); !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), "307") {
		t.Errorf("Send = %v, want it refused with 307", err)
	}
}

// A long message is cut so that it fits into the one record of RFC 8291.
func TestWebPush_LongMessagesFit(t *testing.T) {
	p := newPhone(t, "https://push.example.net/a")
	m := fading("phone")
	for range 40 {
		m.Items = append(m.Items, m.Items[0])
	}
	m.Items[0].Because, m.For = strings.Repeat("é", 4000), Held
	if err := p.sender().Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
}

func TestSubscription_TakesNothingButAPushService(t *testing.T) {
	p := newPhone(t, "https://push.example.net/a")
	if err := p.subs[0].Validate(); err != nil {
		t.Error(err)
	}
	for _, endpoint := range []string{"http://push.example.net/a", "https://127.0.0.1/a", "https://[::1]/a", "https://localhost/a", "https://push.example.net:8443/a",
		"https://user:pw@push.example.net/", "file:///etc/passwd", "https:///a", "", "https://router/", "https://push.example.net/" + strings.Repeat("a", 3000)} {
		s := p.subs[0]
		s.Endpoint = endpoint
		if err := s.Validate(); err == nil {
			t.Errorf("%.60q is taken", endpoint)
		}
	}
	s := p.subs[0]
	s.Auth = s.Auth[:15]
	if err := s.Validate(); err == nil {
		t.Error("a short secret is taken")
	}
	s = p.subs[0]
	s.Public = make([]byte, pointSize)
	if err := s.Validate(); err == nil {
		t.Error("a key that is no point is taken")
	}
}

// A name that leads to this machine or its neighbours is not called, whoever subscribed it.
func TestPublicOnly(t *testing.T) {
	for address, want := range map[string]bool{
		"127.0.0.1:443": false, "10.1.2.3:443": false, "192.168.1.1:443": false, "172.16.0.1:443": false, "169.254.169.254:443": false, "100.64.0.1:443": false,
		"0.0.0.0:443": false, "224.0.0.1:443": false, "255.255.255.255:443": false, "198.18.0.1:443": false, "[::1]:443": false, "[fe80::1]:443": false, "[fc00::1]:443": false,
		"[::ffff:127.0.0.1]:443": false, "[64:ff9b::7f00:1]:443": false, "[2002:7f00:1::]:443": false, "[2001:db8::1]:443": false,
		"8.8.8.8:443": true, "[2606:4700::1]:443": true,
	} {
		if err := publicOnly("tcp", address, nil); (err == nil) != want {
			t.Errorf("%s: %v, want public %v", address, err, want)
		}
	}
}
