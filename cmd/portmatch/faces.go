package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"portmatch/internal/compare"
	"portmatch/internal/contour"
	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/job"
	"portmatch/internal/prose"
)

// parts are the faces of one comparison: what the user named, and what was seen of it.
type parts struct {
	target, head *sight // nil where there is none
	works        []*sight
	work         *face.Face // of all work photos together, in the frame of the first
}

// measure reads all photos side by side, finds the outlines of target and head, then those of the work in the light of where
// the target's openings come to lie on it.
func (ps *parts) measure(ctx context.Context, opts compare.Options, p *progress) error {
	all := slices.Clone(ps.works)
	for _, v := range []*sight{ps.target, ps.head} {
		if v != nil && v.face == nil {
			all = append(all, v)
		}
	}
	var names []string
	for _, v := range all {
		names = append(names, base(v.path))
	}
	p.stage("reading " + strings.Join(names, ", "))
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(photosAtOnce())
	for _, v := range all {
		g.Go(func() error {
			if err := v.look(gctx); err != nil {
				return err
			}
			switch v {
			case ps.target:
				return v.traceOrHoles(gctx)
			case ps.head:
				return v.trace(gctx, nil)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	if err := ps.different(); err != nil {
		return err
	}
	p.stage("finding the edges of " + base(ps.works[0].path))
	var faces []*face.Face
	for _, w := range ps.works {
		var err error
		if ps.target == nil {
			err = w.trace(ctx, nil)
		} else {
			err = w.traceGuided(ctx, ps.target, opts)
		}
		if err != nil {
			return err
		}
		faces = append(faces, w.face)
	}
	ps.work = faces[0]
	if len(faces) > 1 {
		var err error
		if ps.work, err = compare.Fuse(faces); err != nil {
			return prose.Errorf("%s: %w", strings.Join(names[:len(faces)], ", "), err)
		}
	}
	return nil
}

// different refuses one picture given for two things.
func (ps *parts) different() error {
	seen := make(map[[32]byte]*sight)
	for _, v := range append([]*sight{ps.target, ps.head}, ps.works...) {
		if v == nil || v.photo == nil {
			continue
		}
		if other := seen[v.photo.SHA256]; other != nil {
			return fmt.Errorf("%s and %s: %w", other.path, v.path, &compare.MismatchError{
				What: prose.Sprintf("they are the same picture, given as %s and as %s", other.role, v.role),
				Try:  "give a picture of each part"})
		}
		seen[v.photo.SHA256] = v
	}
	return nil
}

// traceGuided measures the work's outlines in the light of where the target's openings come to lie on it.
func (v *sight) traceGuided(ctx context.Context, target *sight, opts compare.Options) error {
	workFromTarget, err := compare.Lay(target.face, v.survey.Rough(), opts)
	switch {
	case err != nil && target.noOpening != nil:
		return target.noOpening
	case err != nil:
		return between(target, v, err)
	}
	target.dropHoles(v.survey.Rough(), workFromTarget)
	none := len(target.face.Ports) == 0
	if err := target.seek(ctx, v.survey, workFromTarget.Inverse()); err != nil {
		return err
	}
	if none && len(contour.Trusted(target.face).Ports) == 0 {
		if target.noOpening != nil {
			return target.noOpening
		}
		return between(target, v, compare.NoPort(target.role))
	}
	// Of what was hardly measured on the target nobody knows whether it is a port: that it runs off the work's photo refuses nothing.
	if err := v.inFrame(guideOf(contour.Trusted(target.face), workFromTarget)); err != nil {
		return err
	}
	if err := v.trace(ctx, guideOf(target.face, workFromTarget)); err != nil {
		return err
	}
	if len(v.survey.Rough().Ports) == 0 && len(contour.Trusted(v.face).Ports) == 0 {
		return between(target, v, compare.NoPort(v.role))
	}
	return nil
}

// dropHoles drops the ports of a face that measured holes of another lie on, where none of its ports lies on one of the other's: on a gasket whose
// openings did not show, the largest holes had passed for them.
func (v *sight) dropHoles(other *face.Face, otherFromV geom.Rigid) {
	const apartMM, asLarge = 1.5, 2.0
	if v.survey == nil || len(other.Ports) == 0 {
		return
	}
	var left []face.Port
	for _, p := range v.face.Ports {
		o := geom.Outline(p.Outline).Mapped(otherFromV)
		c := o.CentroidMM()
		for _, q := range other.Ports {
			if o.Contains(geom.Outline(q.Outline).CentroidMM()) || geom.Outline(q.Outline).Contains(c) {
				return
			}
		}
		if !slices.ContainsFunc(other.Holes, func(h face.Hole) bool {
			ratio := o.AreaMM2() / (math.Pi / 4 * h.DiameterMM * h.DiameterMM)
			return h.Centre.Dist(c) < apartMM && ratio < asLarge && 1/ratio < asLarge
		}) {
			left = append(left, p)
		}
	}
	v.face.Ports = left
}

// guideOf says what f's openings and edge look like in another face's frame.
func guideOf(f *face.Face, otherFromF geom.Rigid) *contour.Guide {
	g := &contour.Guide{Part: geom.Outline(f.PartOutline.Outline).Mapped(otherFromF)}
	for _, port := range f.Ports {
		g.Ports = append(g.Ports, geom.Outline(port.Outline).Mapped(otherFromF))
	}
	return g
}

// seek looks on the target for the openings that work shows and the target did not, or of which it has hardly an edge. What is not
// found there stays as it was; the comparison names it.
func (v *sight) seek(ctx context.Context, work *contour.Survey, targetFromWork geom.Rigid) error {
	if v.survey == nil {
		return nil
	}
	var wanted contour.Guide
	for _, o := range work.Unasked(guideOf(contour.Trusted(v.face), targetFromWork.Inverse())) {
		wanted.Ports = append(wanted.Ports, geom.Outline(o).Mapped(targetFromWork))
	}
	if len(v.face.Ports) == 0 && len(wanted.Ports) > 0 {
		return v.trace(ctx, &wanted)
	}
	return v.survey.Seek(ctx, v.face, &wanted)
}

// inFrame refuses a photo that does not show every port whole.
func (v *sight) inFrame(guide *contour.Guide) error {
	ports := slices.Clone(guide.Ports)
	slices.SortFunc(ports, func(a, b []geom.PointMM) int {
		return cmp.Compare(geom.Outline(a).CentroidMM().X, geom.Outline(b).CentroidMM().X)
	})
	right, bottom := float64(v.photo.Width-1), float64(v.photo.Height-1)
	for i, outline := range ports {
		for _, p := range outline {
			q := v.solution.Camera.PixelFromPlane(p, v.heightMM)
			for _, side := range []struct {
				name string
				out  bool
			}{{"left", q.U < 0}, {"right", q.U > right}, {"top", q.V < 0}, {"bottom", q.V > bottom}} {
				if side.out {
					return &photoError{v.path, fmt.Sprintf("port %d, counted from the left, runs off the %s edge of the picture; photograph the whole part",
						i+1, side.name)}
				}
			}
		}
	}
	return nil
}

// between says which two files an error is about.
func between(target, work *sight, err error) error {
	return prose.Errorf("%s and %s: %w", target.path, work.path, err)
}

// shape makes of the target what the user wants ground to: a circle, or the target grown or shrunk. Without a target the
// circle sits on the work's own bore.
func (ps *parts) shape(set job.Settings) error {
	if ps.target == nil {
		ps.target = &sight{shot: shot{role: "target", path: ps.works[0].path}, face: ps.work}
	}
	f, err := ps.target.face, error(nil)
	if set.CircleMM > 0 {
		f, err = compare.CircleFace(f, set.CircleMM)
	}
	if err == nil && set.OffsetMM != 0 {
		f, err = compare.OffsetFace(f, set.OffsetMM)
	}
	if err != nil {
		return prose.Errorf("%s: %w", ps.target.path, err)
	}
	// The sight's photo stays: the job says which picture the target came from.
	shaped := *ps.target
	shaped.face = f
	ps.target = &shaped
	return nil
}

// compare lays the faces over each other.
func (ps *parts) compare(ctx context.Context, set job.Settings, opts compare.Options) (*compare.Plan, error) {
	var head *face.Face
	if ps.head != nil {
		head = ps.head.face
	}
	plan, err := abandoned(ctx, func() (*compare.Plan, error) {
		return compare.Choose(compare.Aim(set.Aim), ps.target.face, head, ps.work, opts)
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err != nil {
		return nil, between(ps.target, ps.works[0], err)
	}
	return plan, nil
}

// keep is what a job keeps of its target: the outlines, and which photo they come from.
func (ps *parts) keep() (job.Target, error) {
	var out job.Target
	for _, v := range []*sight{ps.target, ps.head} {
		if v == nil {
			continue
		}
		var b bytes.Buffer
		if err := face.Encode(&b, v.face); err != nil {
			return out, err
		}
		out.Faces = append(out.Faces, json.RawMessage(bytes.TrimSpace(b.Bytes())))
	}
	if p := ps.target.photo; p != nil {
		out.Photo = &job.Photo{Name: base(ps.target.path), SHA256: hex.EncodeToString(p.SHA256[:]), Bytes: int64(len(p.File))}
	}
	return out, nil
}

// known are the target and head that a job keeps.
func known(j *job.Job) (*parts, error) {
	ps := &parts{}
	for i, data := range j.Target.Faces {
		f, err := face.Decode(bytes.NewReader(data))
		if err != nil {
			return nil, &fileError{j.Dir, "the job's target can't be read: " + err.Error(), err}
		}
		switch i {
		case 0:
			ps.target = &sight{shot: shot{role: "target", path: "the target of " + j.Dir}, face: f}
		case 1:
			ps.head = &sight{shot: shot{role: "head", path: "the head of " + j.Dir}, face: f}
		}
	}
	return ps, nil
}
