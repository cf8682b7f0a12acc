// Package figure draws the tool's figures as SVG: it turns plain numbers and labels into a
// picture that reads on a light or a dark page and prints in black.
//
// A Canvas collects shapes in user units with the origin at the top left and y downwards; SVG
// then gives the whole document. Shapes carry CSS class names instead of colours, and the
// document brings a small style sheet for them that follows the reader's light or dark setting.
package figure
