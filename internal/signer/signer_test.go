package signer

import (
	"bytes"
	"crypto/ed25519"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

func mustOpen(t *testing.T, dir string) *Keys {
	t.Helper()
	k, _, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestOpen_MakesAKeyForItsOwnerAlone(t *testing.T) {
	dir := t.TempDir()
	k, created, err := Open(dir)
	if err != nil || !created {
		t.Fatalf("created %v, %v", created, err)
	}
	if info, err := os.Stat(filepath.Join(dir, KeyFile)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode of the key: %v, %v", info.Mode(), err)
	}
	again, created, err := Open(dir)
	if err != nil || created || !bytes.Equal(again.Current, k.Current) {
		t.Errorf("opened again: created %v, %v", created, err)
	}
	public, err := ReadPublic(filepath.Join(dir, PublicFile))
	if err != nil || !public.Equal(k.Public()) {
		t.Errorf("public key = %v, %v", public, err)
	}
}

func TestOpen_RefusesAKeyThatOthersCanRead(t *testing.T) {
	dir := t.TempDir()
	mustOpen(t, dir)
	if err := os.Chmod(filepath.Join(dir, KeyFile), 0o640); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("err = %v", err)
	}
}

func TestOpen_RefusesADamagedKeyAndLeavesIt(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, KeyFile)
	if err := os.WriteFile(path, []byte("nonsense"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Open(dir); err == nil {
		t.Error("opened")
	}
	if data, err := os.ReadFile(path); err != nil || string(data) != "nonsense" {
		t.Errorf("the file is %q, %v", data, err)
	}
}

// A change that a power cut interrupts is taken up.
func TestKeys_ChangeInSteps(t *testing.T) {
	dir := t.TempDir()
	k := mustOpen(t, dir)
	old := k.Public()
	if err := k.Prepare(); err != nil {
		t.Fatal(err)
	}
	k = mustOpen(t, dir) // the cut
	if k.Next == nil || !k.Public().Equal(old) {
		t.Fatalf("after the cut: %+v", k)
	}
	next := PublicOf(k.Next)
	if err := k.Change(); err != nil {
		t.Fatal(err)
	}
	k = mustOpen(t, dir)
	if public, err := ReadPublic(filepath.Join(dir, PublicFile)); err != nil || !k.Public().Equal(next) || !public.Equal(next) || k.Next != nil {
		t.Errorf("after the change: %+v, %v", k, err)
	}
}

// A power cut between the key and its public half, or a public half that was lost, is mended.
func TestOpen_WritesThePublicKeyAgain(t *testing.T) {
	dir := t.TempDir()
	mustOpen(t, dir)
	path := filepath.Join(dir, PublicFile)
	other := mustOpen(t, t.TempDir())
	wrong, err := PublicPEM(other.Public())
	if err != nil {
		t.Fatal(err)
	}
	for _, harm := range []func() error{func() error { return os.Remove(path) }, func() error { return os.WriteFile(path, wrong, 0o600) }} {
		if err := harm(); err != nil {
			t.Fatal(err)
		}
		k := mustOpen(t, dir)
		if public, err := ReadPublic(path); err != nil || !public.Equal(k.Public()) {
			t.Errorf("public key %v, %v, want that of the folder's key", public, err)
		}
	}
}

// Another program reads the public key and agrees with a signature.
func TestPublicPEM_IsReadByOpenSSL(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		t.Skip("openssl is not installed")
	}
	dir := t.TempDir()
	k := mustOpen(t, dir)
	message, signature := filepath.Join(dir, "message"), filepath.Join(dir, "signature")
	if err := os.WriteFile(message, []byte("stallkeeper checkpoint 1\n{}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(signature, ed25519.Sign(k.Current, []byte("stallkeeper checkpoint 1\n{}\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(openssl, "pkeyutl", "-verify", "-pubin", "-inkey", filepath.Join(dir, PublicFile), "-rawin", "-in", message, "-sigfile", signature).CombinedOutput()
	if err != nil {
		t.Errorf("openssl: %v: %s", err, out)
	}
}
