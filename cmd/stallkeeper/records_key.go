package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/record"
	"stallkeeper/internal/signer"
)

type recordsCheckpointCmd struct {
	daemonAPI
}

// Help gives an example.
func (recordsCheckpointCmd) Help() string {
	return `Example:

    stallkeeper records checkpoint >> /mnt/stick/checkpoints.txt

Prints one line of JSON. "stallkeeper records verify --checkpoint FILE" holds such lines against the records later, and finds what was
changed or cut off since.`
}

// Run prints a checkpoint.
func (k recordsCheckpointCmd) Run(c *console) error {
	var checkpoint record.Checkpoint
	if err := k.call(c.ctx, "POST", "/records/checkpoints", nil, &checkpoint); err != nil {
		return err
	}
	return json.NewEncoder(c.out).Encode(checkpoint)
}

type recordsKeyCmd struct {
	daemonAPI
	who
	Change bool `help:"Make a new key, signed by the old one, which is gone then."`
}

// Help gives an example.
func (recordsKeyCmd) Help() string {
	return `Example:

    stallkeeper records key > records.pub

Keep the public key, or its first 16 digits that exports print, outside this machine. Change the key when somebody may have read it, and
when who had it leaves: the new key is entered in the journal, signed by the old one, so that who has kept any older public key can still
verify. A key that was lost (the file records.key in the data folder) is replaced by a new one at the next start; who trusts the old one is
told that the new one is not signed by it.`
}

// Run prints or changes the key.
func (k recordsKeyCmd) Run(c *console) error {
	if k.Change {
		if err := k.call(c.ctx, "POST", "/records/key", k.sign(time.Time{}), nil); err != nil {
			return err
		}
		fmt.Fprintln(c.errOut, "the key was changed: give the new public key to those who verify")
	}
	var answer struct {
		Keys []struct {
			ID     string           `json:"id"`
			Public record.PublicKey `json:"public"`
		} `json:"keys"`
	}
	if err := k.call(c.ctx, "GET", "/records/key", nil, &answer); err != nil {
		return err
	}
	if len(answer.Keys) == 0 {
		return errors.New("the records are not being signed: the daemon's log says why")
	}
	newest := answer.Keys[len(answer.Keys)-1]
	text, err := signer.PublicPEM(newest.Public)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%s", text)
	return err
}

type recordsPINCmd struct{}

// Help gives an example.
func (recordsPINCmd) Help() string {
	return `Example:

    stallkeeper records pin

A PIN of a few digits is soon guessed by somebody who has the configuration file: keep that file to its owner.`
}

// shortestPIN is the shortest PIN taken: common practice, no source.
const shortestPIN = 4

// Run prints the hash of a PIN.
func (recordsPINCmd) Run(c *console) error {
	fmt.Fprint(c.errOut, "PIN: ")
	line, err := bufio.NewReader(os.Stdin).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("read PIN: %w", err)
	}
	pin := strings.TrimRight(line, "\r\n")
	if len(pin) < shortestPIN {
		return fmt.Errorf("the PIN has %d characters: take at least %d", len(pin), shortestPIN)
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(pin), 12)
	if err != nil {
		return fmt.Errorf("hash PIN: %w", err)
	}
	_, err = fmt.Fprintln(c.out, string(hash))
	return err
}
