// Package synth draws strips and faces through a known camera, so that every stage of the measuring has truth. Test
// only: nothing that ships imports it.
//
// Everything is described in the part frame: mm, x right and y up as seen in the picture, z towards the camera, z = 0
// the measured face. A picture is made in linear light by casting a ray per sample through the camera onto the layers
// (face, rim, wall, strips, bench), then developed: lens blur, vignetting, sensor noise, tone curve, sharpening, JPEG.
package synth

import (
	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// RGB is linear light or albedo, 1 = white.
type RGB [3]float64

func grey(v float64) RGB           { return RGB{v, v, v} }
func (c RGB) scaled(s float64) RGB { return RGB{c[0] * s, c[1] * s, c[2] * s} }
func (c RGB) mix(d RGB, t float64) RGB {
	return RGB{lerp(c[0], d[0], t), lerp(c[1], d[1], t), lerp(c[2], d[2], t)}
}

// Scene is one picture to be drawn.
type Scene struct {
	Name, Class, Describe string
	Seed                  uint64

	// Camera maps from the part frame; a flat-bed scan has Camera.Scan set.
	Camera      scalecard.Camera
	Focal35MM   float64 // written to EXIF, 0 for none
	Orientation int     // EXIF orientation of the stored file, 0 or 1 = as displayed
	DeclaredDPI float64 // of a scan
	TiltDeg     float64 // for the record

	Part Part
	// HeightMM is how far the face stands above the strips' print, BenchMM how far above the bench.
	HeightMM, BenchMM float64
	Strips            []Strip
	Bench             Bench
	Light             Light
	Covers            []Cover
	Optics            Optics
}

// Part is what is photographed.
type Part struct {
	Gasket   bool
	Mirrored bool // shown the other side up: part x = -design x
	Ports    []Port
	Holes    []Hole
	Outline  []geom.PointMM
	Surface  Surface
	// WallAlbedo colours cut and tunnel walls; TunnelMM is how deep a face's ports are before they turn dark.
	WallAlbedo RGB
	TunnelMM   float64
	// OuterBreakMM is the chamfer of the part's own edge.
	OuterBreakMM float64
}

// Port is an opening. Outline is where the flat face ends; with a broken edge the wall stands BreakMM further in.
type Port struct {
	ID      string
	Outline []geom.PointMM
	BreakMM float64
	Rounded bool    // the broken edge is a rounding, not a chamfer of 45°
	DraftMM float64 // by how much the tunnel narrows to its end, negative: widens
}

// Hole carries a bolt or a dowel. EdgeDiameterMM, at the face, includes the chamfer.
type Hole struct {
	ID             string
	Dowel          bool
	Centre         geom.PointMM
	DiameterMM     float64
	EdgeDiameterMM float64
	Threaded       bool
}

// Strip is one strip of the scale card, its lower left corner at Origin, turned anticlockwise by TurnDeg.
type Strip struct {
	Number  int
	Origin  geom.PointMM
	TurnDeg float64
	LiftMM  float64    // the end x = 190 stands this much higher, the strip is flat
	CurlMM  float64    // the middle stands this much higher than the ends
	Scale   [2]float64 // what the printer made of 1 mm, along and across
	InkMM   float64    // how far ink spreads over its edge
}

// Bench is what everything lies on.
type Bench struct {
	Kind    string // "wood", "steel", "cardboard", "plain"
	Albedo  RGB
	TurnDeg float64
}

// Surface is the top of the part.
type Surface struct {
	Kind     string // "fibre", "milled", "iron", "plain"
	Albedo   RGB
	Contrast float64 // of the texture, share of the albedo
	FeedMM   float64 // between milling marks
	CutterMM float64 // radius of the milling marks
	RustAmt  float64
	Gloss    float64 // strength of reflections, 0 for a dull surface
	Dye      bool
	DyeMM    float64 // width of the dyed patch round the ports
	Lines    []Line
	Bead     *Bead
	RimGlint float64 // how brightly a broken edge reflects
	RimMetal float64 // how much of a broken edge's light is reflected like a mirror's and comes out of the opening where it leans far, 0 to 1
	Ribs     bool
}

// Line is a scribed line, a scratch, or a felt-pen line on the face; Closed joins the ends.
type Line struct {
	Points  []geom.PointMM
	WidthMM float64
	Albedo  RGB
	Opacity float64
	Closed  bool
}

// Bead is a raised line round every opening, DistanceMM from its edge to the bead's middle.
type Bead struct {
	DistanceMM, WidthMM, HeightMM float64
	Albedo                        RGB
}

// Light is one wide source and the sky.
type Light struct {
	AzimuthDeg, ElevationDeg float64 // where the source stands, part frame
	Direct                   float64 // its share of the irradiance of a horizontal surface
	Softness                 float64 // tangent of the source's half angle
	GradX, GradY             float64 // change of brightness over 100 mm
	Glare                    []Glare
	Bars                     []Bar
}

// Glare is a smooth highlight on the face: a band through At along TurnDeg.
type Glare struct {
	At       geom.PointMM
	TurnDeg  float64
	WidthMM  float64
	LengthMM float64
	Strength float64 // added radiance at the middle, 1 = white
}

// Bar is the shadow of something out of the picture: a band through At along TurnDeg.
type Bar struct {
	At      geom.PointMM
	TurnDeg float64
	WidthMM float64
	SoftMM  float64
	Depth   float64 // share of all light taken away
}

// Cover is something that lies over the part: a hand, a rag.
type Cover struct {
	Outline []geom.PointMM // at z = AboveMM
	AboveMM float64
	Albedo  RGB
}

// Optics is what lens, sensor and phone make of the light.
type Optics struct {
	BlurPx      float64 // sigma at the centre of the picture
	CornerBlur  float64 // how many times that at the corner
	Vignette    float64 // light falls as (1 + r²)^-Vignette, r in focal lengths
	White       float64 // linear level of the strips' paper
	FullWell    float64 // electrons at white: shot noise
	ReadNoise   float64 // electrons
	Sharpen     float64
	Tone        Tone
	JPEGQuality int
}

// Tone is how the phone codes light.
type Tone struct {
	Kind  string  // "srgb", "gamma", "s"
	Gamma float64 // for "gamma"
	S     float64 // for "s": strength of the S on top of sRGB, 0 to 0.9
	Knee  float64 // light above this level is rolled off; 0 or 1: clipped
}
