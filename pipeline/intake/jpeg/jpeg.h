// What Go sees of the decoder in jpeg.c. Nothing here throws or exits: libjpeg's errors come back as return values.
#include <stddef.h>

typedef struct tl_jpeg tl_jpeg;

typedef struct {
  int width, height, channels, bits, progressive;
  int block_height; // px of a row of blocks, all planes together
  int cmyk; // CMYK or YCCK
  int cut;  // the data ended within the header
  int unread; // whole for all that is known, but of a kind that is not read: 1 = sample depth, 2 = process
  char message[256];
} tl_jpeg_head;

typedef struct {
  int warnings;   // other than the next three
  int extraneous; // stray bytes before a marker
  int cut;        // the data ended before the end mark
  int starved;    // a row of blocks lacked data
  long leftover;  // bytes of pixel data behind the last block, other than filling
  int percent;    // rows of blocks read at the first warning, -1 = not known (several scans)
  char message[256];
} tl_jpeg_damage;

// Reads the header. NULL when memory is out; head->message is set when the header can't be read.
tl_jpeg *tl_jpeg_open(const void *data, size_t size, tl_jpeg_head *head);
// The embedded profile, owned by the decoder; NULL when there is none. Call between open and decode.
const unsigned char *tl_jpeg_profile(tl_jpeg *d, unsigned int *size);
// Decodes to interleaved RGB, 3*width*height bytes. 0 = done (see damage), 1 = failed, damage->message says why.
int tl_jpeg_decode(tl_jpeg *d, unsigned char *rgb, tl_jpeg_damage *damage);
void tl_jpeg_close(tl_jpeg *d);
