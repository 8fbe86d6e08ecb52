package intake

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

// Kind says what an Error means for the run.
type Kind uint8

// The kinds of errors.
const (
	Rejected Kind = iota + 1 // the photo is listed with its reason, the run is fine
	Unread                   // disk, permission: listed, the others go on, the run ends with code 1
)

// Reason is why a photo is not taken in.
type Reason string

// The reasons a photo is not taken in.
const (
	Empty        Reason = "empty file"
	NotPicture   Reason = "not a picture"
	NotRead      Reason = "format not read"
	RawFile      Reason = "raw camera file"
	Animated     Reason = "animated"
	CutShort     Reason = "cut short"
	Damaged      Reason = "damaged"
	TooManyBytes Reason = "file too large"
	TooManyMpx   Reason = "picture too large"
	TooLong      Reason = "picture too long"
	TooDeep      Reason = "sample depth not read"
	Profile      Reason = "colour profile not read"
	NotRGB       Reason = "colour space not read"
	NoColours    Reason = "no colours"
	NoDecoder    Reason = "decoder missing"
	Link         Reason = "symbolic link"
	NotRegular   Reason = "not a regular file"
	BadName      Reason = "name not UTF-8"
	NoPermission Reason = "no permission"
	Gone         Reason = "gone"
	Disk         Reason = "disk error"
)

// wordings is the one table of what each reason means and what is to be done about it.
var wordings = map[Reason]struct {
	kind Kind
	todo string
}{
	Empty:        {Rejected, "copy it again from the card or a backup"},
	NotPicture:   {Rejected, "move it out of the photo folders, or export the photo again"},
	NotRead:      {Rejected, "export it as JPEG, PNG or TIFF"},
	RawFile:      {Rejected, "export it from the raw developer as 16 bit TIFF or JPEG of the best quality, in sRGB, without automatic corrections"},
	Animated:     {Rejected, "export the one frame that matters as JPEG or PNG"},
	CutShort:     {Rejected, "copy it again from the card or a backup"},
	Damaged:      {Rejected, "copy it again from the card or a backup"},
	TooManyBytes: {Rejected, "raise the limit if the file is meant, or export it smaller"},
	TooManyMpx:   {Rejected, "raise the limit if the picture is meant, or export it smaller"},
	TooLong:      {Rejected, "export it smaller or in parts"},
	TooDeep:      {Rejected, "export it with 8 or 16 bits a channel"},
	Profile:      {Rejected, "export it with the sRGB profile"},
	NotRGB:       {Rejected, "export it as RGB with the sRGB profile"},
	NoColours:    {Rejected, "scale and missing tiles are told by colours: keep it for people to look at, or give the photo in colour"},
	NoDecoder:    {Rejected, "install libheif 1.17 or newer with its decoder (HEVC; AV1 for AVIF), or export it as JPEG"},
	Link:         {Rejected, "links are never followed: put the photo itself here"},
	NotRegular:   {Rejected, "put the photo itself here"},
	BadName:      {Rejected, "rename it"},
	NoPermission: {Unread, "give the account that runs this the right to read it"},
	Gone:         {Unread, "it was there when the folder was listed: check the disk or the network share"},
	Disk:         {Unread, "check the disk, the card reader or the network share, and copy the file again"},
}

// Error is why a photo is not taken in.
type Error struct {
	Kind   Kind
	Reason Reason
	Detail string // what was found, with numbers; may be empty
	Err    error  // the cause, may be nil
}

// Error returns the reason, what was found and what to do, in plain words. It never holds an absolute path.
func (e *Error) Error() string {
	todo := wordings[e.Reason].todo
	if e.Detail == "" {
		return fmt.Sprintf("%s; %s", e.Reason, todo)
	}
	return fmt.Sprintf("%s: %s; %s", e.Reason, e.Detail, todo)
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// depth refuses samples of so many bits where a format is read with others.
func depth(bits int, read string) *Error {
	return refuse(TooDeep, "%d bits a sample, limit %s (fixed)", bits, read)
}

// fewColours refuses a picture whose samples choose from a palette.
func fewColours(bits uint32) *Error {
	return refuse(TooDeep, "a palette of at most %d colours, too few to be measured", 1<<min(bits, 16))
}

// refuse makes an Error of a reason; the detail is a format as in fmt.Sprintf.
func refuse(r Reason, detail string, args ...any) *Error {
	return &Error{Kind: wordings[r].kind, Reason: r, Detail: fmt.Sprintf(detail, args...)}
}

// unread tells a failure of the file system in the words of Reason. The path within err is left out: it may be absolute.
func unread(err error) *Error {
	var r Reason
	detail := ""
	switch {
	case errors.Is(err, fs.ErrPermission):
		r = NoPermission
	case errors.Is(err, fs.ErrNotExist):
		r = Gone
	case errors.Is(err, syscall.ELOOP):
		r = Link
	default:
		r = Disk
		var p *fs.PathError
		if errors.As(err, &p) {
			detail = p.Err.Error()
		} else {
			detail = err.Error()
		}
	}
	return &Error{Kind: wordings[r].kind, Reason: r, Detail: detail, Err: err}
}
