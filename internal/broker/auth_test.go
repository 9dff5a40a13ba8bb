package broker

import (
	"crypto/tls"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/testrig"
)

// mustHash makes a cheap hash: the cost is no part of these tests.
func mustHash(t *testing.T, password string) string {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	return string(hash)
}

func as(name, password string) func(*paho.ClientOptions) {
	return func(o *paho.ClientOptions) { o.SetUsername(name).SetPassword(password) }
}

func TestNew_DemandsUsersAndTLSOffLoopback(t *testing.T) {
	cert, _ := testrig.SelfSigned(t)
	user := User{Name: "probe", PasswordHash: mustHash(t, "secret")}
	tests := []struct {
		name   string
		change func(*Options)
		want   string // empty: starts
	}{
		{"nothing", func(o *Options) {}, "add users"},
		{"users without TLS", func(o *Options) { o.Users = []User{user} }, "set a certificate"},
		{"TLS without users", func(o *Options) { o.TLS = &tls.Config{Certificates: []tls.Certificate{cert}} }, "add users"},
		{"proxy without users", func(o *Options) { o.BehindProxy = true }, "add users"},
		{"users behind a proxy", func(o *Options) { o.BehindProxy, o.Users = true, []User{user} }, ""},
		{"a password in place of its hash", func(o *Options) { o.Users = []User{{Name: "probe", PasswordHash: "secret"}} }, "--hash-password"},
	}
	for _, tt := range tests {
		opts := options(newCommitter())
		opts.Listen = "0.0.0.0:0"
		tt.change(&opts)
		b, err := New(opts)
		if b != nil {
			b.listener.stop()
		}
		if (tt.want == "") != (err == nil) || (err != nil && !strings.Contains(err.Error(), tt.want)) {
			t.Errorf("%s: New() error = %v, want one with %q", tt.name, err, tt.want)
		}
	}
}

func TestBroker_LoginOverTLS(t *testing.T) {
	cert, pool := testrig.SelfSigned(t)
	c := newCommitter()
	opts := options(c)
	opts.TLS = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
	opts.Users = []User{{Name: "probe", PasswordHash: mustHash(t, "secret")}}
	b := start(t, opts)
	secure := func(o *paho.ClientOptions) {
		o.Servers = nil
		o.AddBroker("mqtts://" + b.Addr().String()).SetTLSConfig(&tls.Config{RootCAs: pool})
	}
	cl := connect(t, b, "a", as("probe", "secret"), secure)
	if token := cl.Publish("stallkeeper/reading/core", 1, false, "60"); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Errorf("publish over TLS: %v", token.Error())
	}
	if _, err := tryConnect(t, b, "b", as("probe", "wrong"), secure); err == nil {
		t.Error("a wrong password is accepted")
	}
	if _, err := tryConnect(t, b, "c", as("stranger", "secret"), secure); err == nil {
		t.Error("an unknown name is accepted")
	}
	if _, err := tryConnect(t, b, "d", as("probe", "secret")); err == nil {
		t.Error("a connection without TLS is accepted")
	}
	if b.Scheme() != "mqtts" || b.Stats().Refused != 2 {
		t.Errorf("scheme %s, %d refused, want mqtts and 2", b.Scheme(), b.Stats().Refused)
	}
}

// TestAuth_Rules lists who may do what. A user "" has no name.
func TestAuth_Rules(t *testing.T) {
	o := Options{Now: time.Now, PublishTopics: []string{"stallkeeper/reading/#", "garage/+/climate", "stallkeeper/raw/+"}, Users: []User{
		{Name: "probe", PasswordHash: mustHash(t, "secret")}, {Name: "display", PasswordHash: mustHash(t, "secret"), ReadOnly: true}}}
	far, near := newAuth(o, false), newAuth(o, true)
	open, wide := newAuth(Options{Now: time.Now}, true), newAuth(Options{Now: time.Now, PublishTopics: []string{"stallkeeper/#"}}, true)
	tests := []struct {
		auth        *auth
		user, topic string
		publish     bool
		read        bool
	}{
		{far, "probe", "stallkeeper/reading/core", true, true},
		{far, "probe", "garage/smoker/climate", true, false},
		{far, "probe", "garage/smoker/gate", false, false},
		{far, "probe", "stallkeeper/raw/1", true, true},
		{far, "probe", "stallkeeper/state/1/core", false, true},
		{far, "probe", "stallkeeper/alarm/1", false, true},
		{far, "probe", "stallkeeper/probe/shed/status", true, true},
		{far, "probe", "stallkeeper/status", false, true},
		{far, "probe", "stallkeeper/checkpoint", false, true},
		{near, "", "stallkeeper/checkpoint", false, true},
		{wide, "", "stallkeeper/checkpoint", false, true},
		{far, "probe", "#", false, false},
		{far, "probe", "stallkeeper/#", false, true},
		{far, "display", "stallkeeper/reading/core", false, true},
		{far, "display", "garage/smoker/climate", false, false},
		{near, "", "stallkeeper/reading/core", true, true},
		{near, "", "garden/gate", true, true},
		{near, "", "stallkeeper/alarm/1", false, true},
		{near, "display", "stallkeeper/reading/core", false, true}, // who says a name is held to it
		{open, "anybody", "garden/gate", true, true},
		{open, "anybody", "stallkeeper/readings/core", false, true}, // a slip of the pen
		{open, "anybody", "$SYS/broker/uptime", false, true},
	}
	for _, tt := range tests {
		if got := tt.auth.mayPublish(tt.user, tt.topic); got != tt.publish {
			t.Errorf("mayPublish(%q, %q) = %v, want %v", tt.user, tt.topic, got, tt.publish)
		}
		if got := tt.auth.mayRead(tt.user, tt.topic); got != tt.read {
			t.Errorf("mayRead(%q, %q) = %v, want %v", tt.user, tt.topic, got, tt.read)
		}
	}
	logins := []struct {
		auth           *auth
		user, password string
		want           bool
	}{
		{far, "", "", false},
		{far, "probe", "secret", true},
		{far, "probe", "secret", true}, // from memory
		{far, "probe", "secre", false},
		{far, "display", "", false},
		{far, "nobody", "secret", false},
		{near, "", "", true},
		{near, "probe", "wrong", false},
		{open, "anybody", "anything", true},
	}
	for _, tt := range logins {
		if err := tt.auth.login(tt.user, []byte(tt.password), "192.0.2.1:5000"); (err == nil) != tt.want {
			t.Errorf("login(%q, %q) = %v, want it in: %v", tt.user, tt.password, err, tt.want)
		}
	}
}

// Ten wrong passwords of one address for one name within five minutes, and the next is not looked at: not even the right one. Others,
// and who was in before, are let in meanwhile.
func TestAuth_DoesNotLookAtPasswordsOfWhoGuesses(t *testing.T) {
	now := time.Date(2026, 5, 3, 2, 0, 0, 0, time.UTC)
	a := newAuth(Options{Now: func() time.Time { return now }, Users: []User{{Name: "probe", PasswordHash: mustHash(t, "secret")},
		{Name: "display", PasswordHash: mustHash(t, "other")}, {Name: "board", PasswordHash: mustHash(t, "third")}}}, false)
	try := func(name, password, remote string) bool { return a.login(name, []byte(password), remote) == nil }
	if !try("board", "third", "192.0.2.1:1") {
		t.Fatal("the board is not let in")
	}
	for i := range maxGuesses {
		if try("probe", "guess"+strconv.Itoa(i), "192.0.2.1:"+strconv.Itoa(i+1)) || try("board", "guess", "192.0.2.1:1") || try("nobody", "guess", "192.0.2.1:1") {
			t.Fatal("a guess is let in")
		}
	}
	err := a.login("probe", []byte("secret"), "192.0.2.1:99")
	if err == nil || !strings.Contains(err.Error(), "looked at in 5m0s") {
		t.Errorf("login = %v, want it told to wait five minutes", err)
	}
	if !try("board", "third", "192.0.2.1:1") || !try("display", "other", "192.0.2.1:1") || !try("probe", "secret", "192.0.2.2:1") {
		t.Error("others are kept out with who guesses")
	}
	now = now.Add(-2 * time.Hour) // the clock was put back
	if !try("probe", "secret", "192.0.2.1:99") {
		t.Error("the right password is not looked at for two hours")
	}
	a.known = map[string][]byte{}
	now = now.Add(2*time.Hour + guessWindow)
	if !try("probe", "secret", "192.0.2.1:99") {
		t.Error("the right password is not looked at after five minutes")
	}
	// An IPv6 network counts as one address (a host gives itself as many of it as it likes: RFC 8981).
	for i := range maxGuesses {
		try("display", "guess", fmt.Sprintf("[2001:db8::%x]:1", i+1))
	}
	if b := newAuth(Options{Now: a.guesses.now}, false); !try("display", "other", "[2001:db8:0:1::1]:1") || b.guesses.wait(guesser{}) != 0 {
		t.Error("another network is kept out")
	}
	if a.guesses.wait(guesser{addressOf("[2001:db8::ffff]:1"), "display"}) == 0 {
		t.Error("the network may go on with another of its addresses")
	}
	// Strangers from everywhere do not fill the memory.
	for i := range 2 * maxGuessers {
		a.guesses.fail(guesser{addressOf(fmt.Sprintf("10.%d.%d.1:1", i>>8, i&255)), ""})
	}
	if n := len(a.guesses.failed); n > maxGuessers {
		t.Errorf("%d addresses are remembered, want at most %d", n, maxGuessers)
	}
}

func TestBroker_DropsWhatIsNotAllowedAndKeepsTheClient(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	seen := make(chan string, 10)
	connect(t, b, "display").Subscribe("#", 0, func(_ paho.Client, m paho.Message) { seen <- m.Topic() + "=" + string(m.Payload()) }).Wait()
	cl := connect(t, b, "probe")
	for qos := byte(0); qos <= 2; qos++ {
		if token := cl.Publish("stallkeeper/alarm/1", qos, true, "fire"); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Errorf("QoS %d: %v", qos, token.Error())
		}
	}
	cl.Publish("garden/gate", 1, true, "open").Wait()
	expect(t, seen, "garden/gate=open")
	if got := b.Stats().Denied; got != 3 {
		t.Errorf("%d publishes are denied, want 3", got)
	}
	if got := b.Unheard(); len(got) != 0 {
		t.Errorf("unheard %+v, want nothing: one topic has a reader, the other is the daemon's", got)
	}
}

// A mistyped topic is no error for its device, so it must be seen here.
func TestBroker_SaysWhatNobodyReads(t *testing.T) {
	b := start(t, options(newCommitter()))
	cl := connect(t, b, "probe")
	for _, topic := range []string{"stallkeeper/readings/flat", "stallkeper/reading/flat", "stallkeeper/probe/shed/status", "stallkeeper/reading/flat"} {
		cl.Publish(topic, 1, false, "68.2").Wait()
	}
	var got []string
	for _, u := range b.Unheard() {
		got = append(got, u.Topic)
	}
	if slices.Sort(got); !slices.Equal(got, []string{"stallkeeper/readings/flat", "stallkeper/reading/flat"}) {
		t.Errorf("unheard %q, want the two that are no topics of readings or boards", got)
	}
}

func TestBroker_WillsCannotDoWhatTheirClientsMayNot(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	seen := make(chan string, 10)
	connect(t, b, "display").Subscribe("#", 0, func(_ paho.Client, m paho.Message) { seen <- m.Topic() + "=" + string(m.Payload()) }).Wait()
	for i, topic := range []string{"stallkeeper/status", "stallkeeper/reading/core", "garden/gate"} {
		conn := dial(t, b)
		o := paho.NewClientOptions().SetClientID(topic).SetWill(topic, "gone", 1, true).SetAutoReconnect(false).
			AddBroker("tcp://" + b.Addr().String()).SetCustomOpenConnectionFn(pass(conn))
		cl := paho.NewClient(o)
		if token := cl.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Fatal(i, token.Error())
		}
		if err := conn.Close(); err != nil { // without DISCONNECT
			t.Fatal(err)
		}
		cl.Disconnect(0)
	}
	expect(t, seen, "garden/gate=gone")
	if len(c.all()) != 0 {
		t.Errorf("stored %v, want nothing", c.all())
	}
	if _, kept := b.server.Topics.Retained.Get("garden/gate"); kept {
		t.Error("a will is retained")
	}
}
