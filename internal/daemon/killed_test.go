package daemon

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/config"
	"stallkeeper/internal/notify/smtptest"
)

// messagesChild tells the child of the next test its configuration.
const messagesChild = "STALLKEEPER_MESSAGES_CHILD"

// The daemon as its own process, killed with SIGKILL twice while webhook and mail server are down. Each message arrives once
// by each path.
func TestDaemon_KilledTwiceWhileTheReceiverIsDown(t *testing.T) {
	if path := os.Getenv(messagesChild); path != "" {
		runUntilKilled(t, path)
		return
	}
	h := &hook{down: true}
	server := httptest.NewServer(h)
	defer server.Close()
	mail, err := smtptest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := mail.Down(); err != nil {
			t.Error(err)
		}
	}()
	if err := mail.Down(); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	secret, file := filepath.Join(dir, "key"), filepath.Join(dir, "stallkeeper.toml")
	writeFile(t, secret, "a long random text\n")
	writeFile(t, file, fmt.Sprintf(`
data = %q
[http]
listen = "127.0.0.1:0"
[broker]
listen = "127.0.0.1:0"
[[probe]]
id = "shed"
role = "co"
[[probe]]
id = "kitchen"
role = "co"
[[notify.path]]
name = "hook"
kind = "webhook"
high_after = "0s"
url = %q
secret_file = %q
[[notify.path]]
name = "mail"
kind = "email"
high_after = "0s"
server = %q
security = "none"
from = "smoker@example.org"
to = ["pitmaster@example.org"]
`, filepath.Join(dir, "data"), server.URL, secret, mail.Addr()))
	for _, probe := range []string{"shed", "kitchen"} {
		c := startChild(t, file)
		tried := h.tries()
		c.post(t, probe, 250) // parts per million
		within(t, "the alarm", func() bool { return strings.Contains(c.get(t, "/api/v1/alarms"), "at "+probe) })
		within(t, "a try to deliver", func() bool { return h.tries() > tried })
		within(t, "a try to mail", func() bool { return strings.Contains(c.get(t, "/api/v1/paths"), `"kind":"email","failed":`) })
		c.kill(t)
	}
	h.mu.Lock()
	h.down = false
	h.mu.Unlock()
	if err := mail.Up(); err != nil {
		t.Fatal(err)
	}
	c := startChild(t, file)
	within(t, "both messages", func() bool { return len(h.taken()) >= 2 && len(mail.Letters()) >= 2 })
	time.Sleep(3 * time.Second) // for a repeat that should not come
	c.kill(t)
	got := h.taken()
	if len(got) != 2 || !strings.Contains(got[0], "at shed") || !strings.Contains(got[1], "at kitchen") {
		t.Errorf("taken %q, want the shed's and the kitchen's, each once", got)
	}
	if got := subjects(t, mail); len(got) != 2 || !strings.Contains(got[0], "at shed") || !strings.Contains(got[1], "at kitchen") {
		t.Errorf("mailed %q, want the shed's and the kitchen's, each once", got)
	}
}

func runUntilKilled(t *testing.T, path string) {
	t.Helper()
	cfg, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(t.Context(), Options{Config: cfg, Log: slog.New(slog.NewTextHandler(os.Stderr, nil)), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(d.Addresses().HTTP)
	t.Fatal(d.Run(t.Context()))
}

// child is a daemon in a process of its own.
type child struct {
	cmd  *exec.Cmd
	http string
}

func startChild(t *testing.T, path string) *child {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestDaemon_KilledTwiceWhileTheReceiverIsDown$")
	cmd.Env = append(os.Environ(), messagesChild+"="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // has ended already unless the test failed
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	return &child{cmd, strings.TrimSpace(line)}
}

func (c *child) post(t *testing.T, probe string, ppm float64) {
	t.Helper()
	resp, err := http.Post(c.http+"/api/v1/readings", "application/json", strings.NewReader(fmt.Sprintf(`{"probe":%q,"celsius":%v}`, probe, ppm)))
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if err := errors.Join(err, resp.Body.Close()); err != nil || resp.StatusCode/100 != 2 {
		t.Fatalf("%s: %s, %v", resp.Status, body, err)
	}
}

func (c *child) get(t *testing.T, path string) string {
	t.Helper()
	resp, err := http.Get(c.http + path)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	if err := errors.Join(err, resp.Body.Close()); err != nil {
		t.Fatal(err)
	}
	return string(body)
}

func (c *child) kill(t *testing.T) {
	t.Helper()
	if err := c.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Wait(); err == nil {
		t.Fatal("the child ended by itself")
	}
}
