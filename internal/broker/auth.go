package broker

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/bcrypt"
)

const (
	readings  = "stallkeeper/reading/"
	boards    = "stallkeeper/probe/" // what boards say about themselves
	own       = "stallkeeper/"
	hashTwice = 2 // passwords being checked at once: each costs as much as it is meant to
)

// auth decides who may connect, publish and subscribe.
//
//   - With users configured, a name needs its password. Users may publish readings, the status of boards and on
//     Options.PublishTopics (not if ReadOnly), and read below stallkeeper/.
//   - On loopback, clients without a name may also connect, publish anywhere and read everything; without users, any
//     name will do.
//   - Nobody may publish on the daemon's own topics.
type auth struct {
	users    map[string]User
	topics   []string
	loopback bool
	check    chan struct{} // holds hashTwice tokens
	nobody   []byte        // hash compared for unknown names, so that they take as long as known ones
	guesses  guesses
	key      [32]byte // of the digests below; new with each start

	mu    sync.Mutex // guards known
	known map[string][]byte
}

func newAuth(o Options, loopback bool) *auth {
	a := &auth{users: map[string]User{}, topics: o.PublishTopics, loopback: loopback,
		check: make(chan struct{}, hashTwice), known: map[string][]byte{}, guesses: guesses{now: o.Now, failed: map[guesser]wrong{}}}
	for _, u := range o.Users {
		a.users[u.Name] = u
		a.nobody = []byte(u.PasswordHash)
	}
	_, _ = rand.Read(a.key[:]) // never fails (crypto/rand)
	return a
}

func (u User) check() error {
	if u.Name == "" {
		return errors.New("mqtt user without a name: give one")
	}
	if _, err := bcrypt.Cost([]byte(u.PasswordHash)); err != nil {
		return fmt.Errorf("password hash of mqtt user %q: %w: make one with stallkeeper serve --hash-password", u.Name, err)
	}
	return nil
}

// login checks name and password, and says why it refuses. A password that was right before is recognised by a digest, so that
// devices that wake up each minute do not cost a full hash each time; one that was wrong too often is not looked at.
func (a *auth) login(name string, password []byte, remote string) error {
	if a.open(name) {
		return nil
	}
	mac := hmac.New(sha256.New, a.key[:])
	mac.Write(password)
	digest := mac.Sum(nil)
	a.mu.Lock()
	known := a.known[name]
	a.mu.Unlock()
	if subtle.ConstantTimeCompare(known, digest) == 1 {
		return nil
	}
	who := guesser{from: addressOf(remote)}
	u, ok := a.users[name]
	if ok {
		who.name = name
	}
	a.check <- struct{}{}
	defer func() { <-a.check }()
	if wait := a.guesses.wait(who); wait > 0 { // also for those who stood in line while others failed
		return fmt.Errorf("too many wrong passwords: correct the device's settings; the next is looked at in %s", wait.Round(time.Second))
	}
	hash := a.nobody // for its time only
	if ok {
		hash = []byte(u.PasswordHash)
	}
	if bcrypt.CompareHashAndPassword(hash, password) != nil || !ok {
		a.guesses.fail(who)
		return errors.New("wrong name or password")
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.known[name] = digest
	return nil
}

func (a *auth) open(name string) bool { return a.loopback && (name == "" || len(a.users) == 0) }

func (a *auth) mayPublish(name, topic string) bool {
	open := a.open(name)
	switch {
	case ofDaemon(topic), !open && a.users[name].ReadOnly:
		return false
	case strings.HasPrefix(topic, readings), strings.HasPrefix(topic, boards):
		return true
	case slices.ContainsFunc(a.topics, func(filter string) bool { return matches(filter, topic) }):
		return true
	}
	// Below stallkeeper/ anything else is a slip of the pen, better said than passed on.
	return open && !strings.HasPrefix(topic, own)
}

// ofDaemon reports whether the topic is the daemon's own.
func ofDaemon(topic string) bool {
	for _, prefix := range [...]string{"$", own + "state/", own + "alarm/", own + "status", own + "checkpoint", own + "sync/"} {
		if strings.HasPrefix(topic, prefix) {
			return true
		}
	}
	return false
}

func (a *auth) mayRead(name, filter string) bool {
	return a.open(name) || strings.HasPrefix(filter, own)
}

// matches reports whether an MQTT topic filter matches a topic (MQTT 3.1.1 section 4.7).
func matches(filter, topic string) bool {
	for {
		f, restF, moreF := strings.Cut(filter, "/")
		t, restT, moreT := strings.Cut(topic, "/")
		switch {
		case f == "#":
			return true
		case f != "+" && f != t:
			return false
		case !moreF || !moreT:
			return moreF == moreT || (moreF && restF == "#")
		}
		filter, topic = restF, restT
	}
}
