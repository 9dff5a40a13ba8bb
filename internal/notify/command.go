package notify

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"
)

// Command runs a program of this machine, for a siren or a relay: no shell, the message as JSON on its standard input,
// a time limit after which it and all it started are killed. Exit status 0 means delivered.
type Command struct {
	argv  []string
	zone  *time.Location
	link  string
	limit time.Duration
}

// NewCommand makes a sender; argv is the program and its arguments.
func NewCommand(argv []string, limit time.Duration, zone *time.Location, link string) *Command {
	return &Command{argv: argv, zone: zone, link: link, limit: limit}
}

// said is how much of what a failing program prints is kept.
const said = 300

// Send runs the program. It sees nothing of the daemon's environment but PATH, HOME and LANG.
func (c *Command) Send(ctx context.Context, m Message) error {
	input, err := json.Marshal(struct {
		Message
		Subject string `json:"subject"`
		Text    string `json:"text"`
	}{m, m.Subject(), m.Text(c.zone, c.link)})
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, c.limit)
	defer cancel()
	out := head{room: said}
	cmd := exec.CommandContext(ctx, c.argv[0], c.argv[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(input), &out, &out
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = 2 * time.Second // for what it left behind with its output open
	for _, name := range []string{"PATH", "HOME", "LANG"} {
		if v, ok := os.LookupEnv(name); ok {
			cmd.Env = append(cmd.Env, name+"="+v)
		}
	}
	err = cmd.Run()
	switch {
	case err == nil, errors.Is(err, exec.ErrWaitDelay):
		return nil
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return fmt.Errorf("run %s: not done within %v, killed", c.argv[0], c.limit)
	}
	return fmt.Errorf("run %s: %w: %q", c.argv[0], err, strings.TrimSpace(string(out.kept)))
}

// head keeps the beginning of what is written to it and takes the rest without keeping it: a program may print for as long as it runs.
type head struct {
	kept []byte
	room int // bytes that it still keeps
}

func (h *head) Write(p []byte) (int, error) {
	n := min(len(p), h.room)
	h.kept = append(h.kept, p[:n]...)
	h.room -= n
	return len(p), nil
}
