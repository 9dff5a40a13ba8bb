package main

import (
	"fmt"
	"path/filepath"
	"time"

	"stallkeeper/internal/store"
)

type backupCmd struct {
	Data string `default:"stallkeeper-data" env:"STALLKEEPER_DATA" placeholder:"DIR" help:"Folder of the database (${default})."`
	To   string `arg:"" help:"New file to write."`
}

// Help gives an example.
func (backupCmd) Help() string {
	return "Example:\n\n    stallkeeper backup /mnt/stick/stallkeeper-backup.db"
}

// Run copies the database to a new file, whole and consistent, also while the daemon runs.
func (b backupCmd) Run(c *console) error {
	if err := store.Backup(c.ctx, filepath.Join(b.Data, store.FileName), b.To); err != nil {
		return err
	}
	_, err := fmt.Fprintln(c.out, "backup written to", b.To)
	return err
}

type restoreCmd struct {
	Data string `default:"stallkeeper-data" env:"STALLKEEPER_DATA" placeholder:"DIR" help:"Folder of the database (${default})."`
	From string `arg:"" help:"Backup file to put back."`
}

// Help gives an example.
func (restoreCmd) Help() string {
	return `Example:

    stallkeeper restore /mnt/stick/stallkeeper-backup.db

Stop the daemon first. The database that stood there before is kept beside it under a new name.`
}

// Run puts a backup in place of the database.
func (r restoreCmd) Run(c *console) error {
	kept, err := store.Restore(c.ctx, r.From, filepath.Join(r.Data, store.FileName), time.Now())
	if err != nil {
		return err
	}
	if kept != "" {
		fmt.Fprintln(c.out, "the database that was there is kept as", kept)
	}
	_, err = fmt.Fprintln(c.out, "restored from", r.From)
	return err
}
