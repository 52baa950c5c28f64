package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path/filepath"

	"portmatch/internal/compare"
	"portmatch/internal/job"
	"portmatch/internal/render"
)

// writeReport sets the job's page anew from what its passes hold.
func writeReport(s *job.Session) error {
	rep := render.Report{Job: filepath.Base(s.Job.Dir), Units: render.Units(s.Job.Settings.Units)}
	for _, p := range s.Job.Passes {
		plan, err := readPlan(s.Job, p.Number)
		if err != nil {
			return err
		}
		r := plan.Result
		rp := render.ReportPass{Result: r, Head: plan.Head, TargetHead: plan.TargetHead, CloseUps: make(map[int][]byte)}
		if rp.Overlay, err = reportPicture(s.Job, p.Number, overlayName); err != nil {
			return err
		}
		for _, port := range r.Ports {
			if rp.CloseUps[port.Port], err = reportPicture(s.Job, p.Number, closeUpName(port.Port)); err != nil {
				return err
			}
		}
		rep.Passes = append(rep.Passes, rp)
	}
	last := rep.Passes[len(rep.Passes)-1].Result
	for i := range last.Dimensions {
		d := &last.Dimensions[i]
		rd := render.Dimension{Name: d.Name, What: d.What, Length: d.Value}
		for _, r := range s.Job.Readings {
			if r.Pass == last.Pass && r.Dimension == d.Name {
				rd.ReadMM = &r.MM
				rd.Says = "agrees"
				if g := d.Check(r.MM); !g.Agrees {
					rd.Says = fmt.Sprintf("does not agree, %s at most may be between them", rep.Units.LengthText(g.LimitMM))
				}
			}
		}
		rep.Dimensions = append(rep.Dimensions, rd)
	}
	rep.Assumed = assumed(s.Job.Settings, rep.Units)
	return s.WriteReport(func(w io.Writer) error { return render.HTML(w, rep) })
}

// reportPicture reads a picture of a pass for the report: the copy made for it, or the picture itself, which is all that older
// jobs have. The report goes without one that somebody has deleted.
func reportPicture(j *job.Job, pass int, name string) ([]byte, error) {
	for _, file := range []string{screenName(name), name} {
		data, err := j.ReadPassFile(pass, file)
		if !errors.Is(err, fs.ErrNotExist) {
			return data, err
		}
	}
	j.Notes = append(j.Notes, fmt.Sprintf("%s of pass %d is gone; the report goes without it", name, pass))
	return nil, nil
}

// assumed says what a job takes for granted because the user said so, or said nothing.
func assumed(set job.Settings, u render.Units) []string {
	above := func(what string, mm float64) string {
		if mm == 0 {
			return fmt.Sprintf("The %s was taken to lie level with its strips.", what)
		}
		return fmt.Sprintf("The %s was taken to stand %s %s above its strips.", what, u.LengthText(mm), u.Length())
	}
	printed := "The card was taken to be printed at its true size. An error of the printer cancels in steps and areas where both " +
		"photos show strips from one print, but for its own share of the figure, and in a map from the same printer."
	if set.PrintedXMM > 0 || set.PrintedYMM > 0 {
		printed = "The card's size was corrected by what calipers read on its check lines."
	}
	return append(aimed(set, u), above("target", set.TargetHeightMM), above("work face", set.WorkHeightMM), printed)
}

// aimed says what the work is ground to, where that is not simply the target as photographed.
func aimed(set job.Settings, u render.Units) []string {
	var out []string
	switch compare.Aim(set.Aim) {
	case compare.AimHead:
		out = append(out, "The work is compared with the head's openings, not with the target's.")
	case compare.AimCommon:
		out = append(out, "The work is compared with what target and head both leave open.")
	case compare.AimUnion:
		out = append(out, "Work and head are both ground, each where it stands in the way of the other; the target's openings are not used.")
	}
	if set.CircleMM > 0 {
		out = append(out, fmt.Sprintf("The target is a circle of %s %s on the middle of the bore.", u.LengthText(set.CircleMM), u.Length()))
	}
	if set.OffsetMM != 0 {
		out = append(out, fmt.Sprintf("The target was made %s %s %s all round.", u.LengthText(math.Abs(set.OffsetMM)), u.Length(), map[bool]string{true: "larger", false: "smaller"}[set.OffsetMM > 0]))
	}
	return out
}
