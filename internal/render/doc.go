// Package render puts a result on paper and screen: the scale card, the overlay and close-ups, the 1:1 map, outlines for
// a cutter, tables and the report. It measures nothing: every figure it shows is one that compare.Result holds, put into
// words by Figures alone, so that no two outputs can differ.
//
// Geometry comes in the job frame (mm, x right and y up as the work face is looked at). Pictures are drawn with gg, pages
// with canvas; no OpenCV is needed.
package render
