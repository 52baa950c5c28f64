package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/urfave/cli/v2"
	"golang.org/x/sync/errgroup"

	"portmatch/internal/compare"
	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/job"
	"portmatch/internal/photo"
	"portmatch/internal/render"
	"portmatch/internal/scalecard/strip"
)

// compareOptions are a job's settings as compare wants them, for pass 1.
func compareOptions(set job.Settings) compare.Options {
	o := compare.Options{
		ToleranceMM: set.ToleranceMM, Pass: 1,
		Flow:      compare.FlowDirection(set.Flow),
		MinLandMM: set.MinLandMM,
		Blend:     compare.Blend{DepthMM: set.BlendDepthMM, AngleDeg: set.BlendAngleDeg},
		Fasteners: compare.Fasteners{StudMM: set.StudMM, DowelMM: set.DowelMM},
	}
	if set.MinLandMM == 0 {
		o.MinLandMM = -1 // the user wants no warning
	}
	if set.Flipped != "" {
		flipped := set.Flipped == "yes"
		o.Flipped = &flipped
	}
	if set.Turned != "" {
		turned := 0
		if set.Turned == "180" {
			turned = 180
		}
		o.Turned = &turned
	}
	return o
}

// mapOptions are a job's settings as the map wants them.
func mapOptions(set job.Settings) (render.MapOptions, error) {
	paper, err := render.ParsePaper(cmp.Or(set.Paper, "a4"))
	if err != nil {
		return render.MapOptions{}, err
	}
	o := render.MapOptions{Paper: paper, Units: render.Units(set.Units)}
	if set.PrintedXMM > 0 {
		o.Printed[0] = set.PrintedXMM / strip.CheckXMM
	}
	if set.PrintedYMM > 0 {
		o.Printed[1] = set.PrintedYMM / strip.CheckYMM
	}
	return o, nil
}

// addPass saves a result as the next pass of the job, with everything that shows it, and brings the report up to date.
func addPass(ctx context.Context, s *job.Session, set job.Settings, plan *compare.Plan, ps *parts) error {
	m, err := mapOptions(set)
	if err != nil {
		return err
	}
	works := ps.works
	first := works[0].photo
	in := job.PassInput{PhotoName: base(works[0].path), PhotoFile: "photo." + extension(first.Format), Photo: first.File, Settings: set}
	pass, err := s.AddPass(ctx, in, func(ctx context.Context, dir string, number int) error {
		plan.Result.Pass = number
		files := append(passFiles(plan.Result, works[0], m), planFiles(plan, m)...)
		files = append(files, file{name: workName, write: func(w io.Writer) error { return face.Encode(w, ps.work) }})
		for i, w := range works[1:] {
			files = append(files, file{name: fmt.Sprintf("photo-%d.%s", i+2, extension(w.photo.Format)), write: func(out io.Writer) error {
				_, err := out.Write(w.photo.File)
				return err
			}})
		}
		return drawFiles(ctx, dir, files)
	})
	if err != nil {
		return err
	}
	if err := writeReport(s); err != nil {
		return fmt.Errorf("pass %d is saved whole, but the report could not be written: %w", pass.Number, err)
	}
	return nil
}

// extension is what a copy of a photo is called after its dot.
func extension(format string) string {
	if format == "jpeg" {
		return "jpg"
	}
	return format
}

// tell prints a pass's result and where its pictures are.
func tell(c *cli.Context, j *job.Job, plan *compare.Plan) error {
	r := plan.Result
	for _, n := range j.Notes {
		fmt.Fprintln(c.App.ErrWriter, n)
	}
	printWarnings(c.App.ErrWriter, r.Warnings, render.Units(j.Settings.Units))
	if c.Bool("json") {
		return writeJSON(c.App.Writer, r)
	}
	if err := printTables(c.App.Writer, plan, render.Units(j.Settings.Units)); err != nil {
		return err
	}
	fmt.Fprintf(c.App.ErrWriter, "\nPicture: %s\nMap:     %s\nReport:  %s\n",
		j.PassFile(r.Pass, overlayName), j.PassFile(r.Pass, "map.pdf"), filepath.Join(j.Dir, "report.html"))
	return nil
}

// printTables prints the result, and what a third face adds.
func printTables(w io.Writer, plan *compare.Plan, u render.Units) error {
	if err := render.Table(w, plan.Result, u); err != nil {
		return err
	}
	return render.HeadTables(w, plan.Head, plan.TargetHead, u)
}

func writeJSON(w io.Writer, r *compare.Result) error { return json.NewEncoder(w).Encode(r) }

// file is one file of a pass, to be drawn when its folder is there.
type file struct {
	name  string
	write func(io.Writer) error
	// picture is set instead of write for a picture that is saved twice: as name, and as a JPEG of the same name for the report.
	picture func(w, screen io.Writer) error
}

// asJPEG saves a picture to w.
func asJPEG(w io.Writer) func(im *image.RGBA, quality int) error {
	return func(im *image.RGBA, quality int) error { return photo.EncodeJPEG(w, im, quality) }
}

// screenName is what the report's copy of a picture is called.
func screenName(name string) string { return strings.TrimSuffix(name, ".png") + ".jpg" }

const (
	overlayName = "overlay.png"
	resultName  = "result.json"
	// What a third face adds: the head against the target, and what to grind on the head where both parts are ground.
	targetHeadName = "target-head.json"
	headName       = "head-result.json"
	workName       = "work.json" // the work face's outlines and holes as trace writes them
)

func closeUpName(port int) string { return fmt.Sprintf("port-%d.png", port) }

// passFiles are a pass's files besides its photo. work has the photo that the overlays are drawn on.
func passFiles(r *compare.Result, work *sight, m render.MapOptions) []file {
	u := m.Units
	p := overlayPhoto(r, work)
	// The largest pictures come first, so that they don't start last when the files are drawn side by side.
	files := []file{
		{name: resultName, write: func(w io.Writer) error { return writeJSON(w, r) }},
		{name: overlayName, picture: func(w, screen io.Writer) error {
			return render.Overlay(w, r, p, render.PictureOptions{Units: u, Screen: asJPEG(screen)})
		}},
	}
	for _, port := range r.Ports {
		files = append(files, file{name: closeUpName(port.Port), picture: func(w, screen io.Writer) error {
			return render.CloseUp(w, r, port.Port, p, render.PictureOptions{Units: u, Screen: asJPEG(screen)})
		}})
	}
	return append(files,
		file{name: "map.pdf", write: func(w io.Writer) error { return render.Map(w, r, m) }},
		file{name: "outlines.svg", write: func(w io.Writer) error { return render.SVG(w, r, render.OutlineOptions{}) }},
		file{name: "outlines.dxf", write: func(w io.Writer) error { return render.DXF(w, r, render.OutlineOptions{}) }},
		file{name: "ports.csv", write: func(w io.Writer) error { return render.CSV(w, r, u) }},
	)
}

// planFiles are what a third face adds: how the head agrees with the target and, where both parts are ground, the head's share.
func planFiles(plan *compare.Plan, m render.MapOptions) []file {
	var files []file
	if r := plan.TargetHead; r != nil {
		files = append(files, file{name: targetHeadName, write: func(w io.Writer) error { return writeJSON(w, r) }})
	}
	if r := plan.Head; r != nil {
		m.Side = render.GasketSide // the head looks at the work: its map is the mirror image
		files = append(files,
			file{name: headName, write: func(w io.Writer) error { return writeJSON(w, r) }},
			file{name: "head-map.pdf", write: func(w io.Writer) error { return render.Map(w, r, m) }})
	}
	return files
}

// overlayPhoto is the work's photo with the way from the job frame to its pixels.
func overlayPhoto(r *compare.Result, work *sight) *render.Photo {
	a := r.Alignment.JobFromWork
	faceFromJob := geom.Rigid{A: a[0], B: a[1], Tx: a[2], C: a[3], D: a[4], Ty: a[5]}.Inverse()
	return &render.Photo{
		Gray: &image.Gray{Pix: work.photo.Gray, Stride: work.photo.Width, Rect: image.Rect(0, 0, work.photo.Width, work.photo.Height)},
		PixelFromJob: func(p geom.PointMM) geom.PointPx {
			return work.solution.Camera.PixelFromPlane(faceFromJob.Apply(p), work.heightMM)
		},
	}
}

// drawFiles draws the files into dir, side by side.
func drawFiles(ctx context.Context, dir string, files []file) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, f := range files {
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			_, err := abandoned(ctx, func() (struct{}, error) { return struct{}{}, f.save(dir) })
			return err
		})
	}
	return g.Wait()
}

// save writes the file into dir.
func (f *file) save(dir string) error {
	write := f.write
	if f.picture != nil {
		write = func(w io.Writer) error {
			return create(dir, screenName(f.name), func(screen io.Writer) error { return f.picture(w, screen) })
		}
	}
	return create(dir, f.name, write)
}

func create(dir, name string, write func(io.Writer) error) error {
	out, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		return err
	}
	defer out.Close()
	if err := write(out); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return out.Close()
}
