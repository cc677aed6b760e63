package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // so that it can be read
	_ "image/png"  // and this
	"io"
	"os"
	"runtime"
	"sync"

	"warmhand/internal/measure"
)

type measureCmd struct {
	Files []string `arg:"" placeholder:"FILE" help:"Files of questions, one JSON object a line; - is standard input."`
}

func (measureCmd) Help() string {
	return "Measures openings in photos by a handover card or a bank card that lies beside them. Each question names a photo (JPEG or PNG) and places in it, in pixels as the file has them; each gets one JSON line on standard output, in the same order, as soon as it is known. A photo or a line that cannot be read gets a line with its error, the others go on, and the exit code is 1. The fields are in internal/measure/README.md. One question:\n\n  {\"photo\": \"gap.jpg\", \"reference\": \"handover_card\", \"shape\": \"slot\", \"rim\": [{\"x\": 812, \"y\": 440}, {\"x\": 960, \"y\": 452}, {\"x\": 810, \"y\": 515}, {\"x\": 955, \"y\": 528}]}\n\nExample:\n\n  warmhand measure questions.jsonl"
}

// asked is one line of a file of questions.
type asked struct {
	Photo string `json:"photo"`
	measure.Request
}

// told is the line that answers it.
type told struct {
	File  string `json:"file"`
	Line  int    `json:"line"`
	Photo string `json:"photo,omitempty"`
	measure.Answer
	Error string `json:"error,omitempty"`
}

// mostPixels of a photo are read: a small file can claim to be a huge picture.
const mostPixels = 100_000_000

func (c *measureCmd) Run(e *env) error {
	// Answers come in the order of the questions, however long each takes.
	queue := make(chan chan told, 2*runtime.GOMAXPROCS(0))
	var wrote error
	bad, n := 0, 0
	var writer sync.WaitGroup
	writer.Go(func() {
		out := json.NewEncoder(e.out)
		out.SetEscapeHTML(false)
		for answer := range queue {
			t := <-answer
			n++
			if t.Error != "" {
				bad++
			}
			if wrote == nil {
				wrote = out.Encode(t)
			}
		}
	})
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	var failed error
	for _, name := range c.Files {
		if failed = eachLine(name, func(line int, text []byte) error {
			if err := e.Err(); err != nil {
				return err
			}
			free <- struct{}{}
			answer := make(chan told, 1)
			queue <- answer
			go func() {
				defer func() { <-free }()
				answer <- answerTo(name, line, text)
			}()
			return nil
		}); failed != nil {
			break
		}
	}
	close(queue)
	writer.Wait()
	if err := errors.Join(failed, wrote); err != nil {
		return err
	}
	if bad > 0 {
		return fmt.Errorf("%d of %d questions could not be read; their lines say why", bad, n)
	}
	return nil
}

// eachLine calls f with each line that is not empty, and its number.
func eachLine(name string, f func(int, []byte) error) error {
	var in io.Reader = os.Stdin
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return err
		}
		defer file.Close()
		in = file
	}
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, 1<<20)
	for n := 1; lines.Scan(); n++ {
		if text := bytes.TrimSpace(lines.Bytes()); len(text) > 0 {
			if err := f(n, bytes.Clone(text)); err != nil {
				return err
			}
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

func answerTo(file string, line int, text []byte) told {
	t := told{File: file, Line: line}
	var a asked
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		t.Error = fmt.Sprintf("this is no question as internal/measure/README.md has it: %v", err)
		return t
	}
	if _, err := d.Token(); err != io.EOF {
		t.Error = "there is more after the question: write one JSON object a line"
		return t
	}
	if t.Photo = a.Photo; a.Photo == "" {
		t.Error = "the question names no photo: give its file as photo"
		return t
	}
	var err error
	if a.Picture, err = readPhoto(a.Photo); err != nil {
		t.Error = err.Error()
		return t
	}
	answer, err := measure.Answered(&a.Request)
	if err != nil {
		t.Error = err.Error()
		return t
	}
	t.Answer = *answer
	return t
}

func readPhoto(name string) (*image.Gray, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	about, _, err := image.DecodeConfig(bufio.NewReader(f))
	if err != nil {
		return nil, fmt.Errorf("%s is no JPEG or PNG that can be read: %w", name, err)
	}
	if about.Width*about.Height > mostPixels {
		return nil, fmt.Errorf("%s has %d × %d pixels; %d millions are the most", name, about.Width, about.Height, mostPixels/1_000_000)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	img, _, err := image.Decode(bufio.NewReader(f))
	if err != nil {
		return nil, fmt.Errorf("%s is damaged: %w", name, err)
	}
	return measure.Luma(img), nil
}
