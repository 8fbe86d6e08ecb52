#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <setjmp.h>
#include <jpeglib.h>
#include <jerror.h>
#include "jpeg.h"

// Scans a progressive file may have. Encoders write 10 or so; thousands are made to keep a decoder busy.
#define MAX_SCANS 200

// libjpeg's state after the header is read and before decoding starts (DSTATE_READY of its jpegint.h).
#define DSTATE_READY_ 202

typedef struct {
  struct jpeg_error_mgr pub;
  jmp_buf back;
  char fatal[JMSG_LENGTH_MAX];
  tl_jpeg_damage damage;
  const JOCTET *first, *last; // the file's bytes
} errors_t;

struct tl_jpeg {
  struct jpeg_decompress_struct c;
  errors_t e;
  struct jpeg_progress_mgr progress;
  unsigned char *icc;
};

static void on_error(j_common_ptr c) {
  errors_t *e = (errors_t *)c->err;
  (*c->err->format_message)(c, e->fatal);
  longjmp(e->back, 1);
}

// Bytes that a marker was looked for in and that are neither 0x00 nor 0xFF: encoders pad with those.
static long no_filling(j_decompress_ptr d) {
  long n = d->err->msg_parm.i[0], found = 0;
  const JOCTET *end = d->src->next_input_byte;
  if (!end || n <= 0) return 0;
  // At the end of the data libjpeg reads an end mark of its own, which lies elsewhere.
  errors_t *e = (errors_t *)d->err;
  if (end > e->last || end - e->first < n + 2) return 0;
  // The two bytes of the marker itself lie before next_input_byte.
  for (const JOCTET *p = end - 2 - n; p < end - 2; p++) found += *p != 0x00 && *p != 0xFF;
  return found;
}

static void on_message(j_common_ptr c, int level) {
  errors_t *e = (errors_t *)c->err;
  if (level >= 0) return; // a trace
  j_decompress_ptr d = (j_decompress_ptr)c;
  tl_jpeg_damage *m = &e->damage;
  switch (e->pub.msg_code) {
  case JWRN_EXTRANEOUS_DATA:
    m->extraneous++;
    if (d->global_state > DSTATE_READY_ && d->err->msg_parm.i[1] == JPEG_EOI) m->leftover += no_filling(d);
    return;
  case JWRN_JPEG_EOF: m->cut = 1; break;
  case JWRN_HIT_MARKER: m->starved++; break;
  default: m->warnings++;
  }
  if (m->message[0]) return;
  char text[JMSG_LENGTH_MAX];
  (*c->err->format_message)(c, text);
  snprintf(m->message, sizeof m->message, "%s", text);
  // How far it got is known only while a file of one scan is being written out.
  if (d->global_state > DSTATE_READY_ && d->total_iMCU_rows > 0 && !jpeg_has_multiple_scans(d))
    m->percent = (int)(100.0 * d->input_iMCU_row / d->total_iMCU_rows);
}

static void on_output(j_common_ptr c) { (void)c; }

static void on_progress(j_common_ptr c) {
  if (!c->is_decompressor) return;
  if (((j_decompress_ptr)c)->input_scan_number > MAX_SCANS) {
    snprintf(((errors_t *)c->err)->fatal, JMSG_LENGTH_MAX, "more than %d scans", MAX_SCANS);
    longjmp(((errors_t *)c->err)->back, 1);
  }
}

tl_jpeg *tl_jpeg_open(const void *data, size_t size, tl_jpeg_head *head) {
  tl_jpeg *d = calloc(1, sizeof *d);
  if (!d) return NULL;
  memset(head, 0, sizeof *head);
  d->c.err = jpeg_std_error(&d->e.pub);
  d->e.pub.error_exit = on_error;
  d->e.pub.emit_message = on_message;
  d->e.pub.output_message = on_output;
  d->e.damage.percent = -1;
  if (setjmp(d->e.back)) {
    snprintf(head->message, sizeof head->message, "%s", d->e.fatal);
    head->cut = d->e.damage.cut;
    int code = d->e.pub.msg_code, marker = d->e.pub.msg_parm.i[0];
    if (code == JERR_BAD_PRECISION) head->unread = 1;
    // SOF55, which begins JPEG-LS (ITU-T T.87), is no marker of libjpeg's.
    if (code == JERR_SOF_UNSUPPORTED || (code == JERR_UNKNOWN_MARKER && marker == 0xF7)) head->unread = 2;
    head->bits = code == JERR_BAD_PRECISION ? marker : 0;
    return d;
  }
  jpeg_create_decompress(&d->c);
  d->progress.progress_monitor = on_progress;
  d->c.progress = &d->progress;
  d->e.first = data;
  d->e.last = d->e.first + size;
  jpeg_mem_src(&d->c, data, size);
  jpeg_save_markers(&d->c, JPEG_APP0 + 2, 0xFFFF);
  jpeg_read_header(&d->c, TRUE);
  head->width = d->c.image_width;
  head->height = d->c.image_height;
  head->channels = d->c.num_components;
  head->bits = d->c.data_precision;
  head->progressive = d->c.progressive_mode;
  head->block_height = d->c.max_v_samp_factor * DCTSIZE;
  head->cmyk = d->c.jpeg_color_space == JCS_CMYK || d->c.jpeg_color_space == JCS_YCCK;
  return d;
}

const unsigned char *tl_jpeg_profile(tl_jpeg *d, unsigned int *size) {
  *size = 0;
  if (setjmp(d->e.back)) return NULL;
  if (!d->icc && !jpeg_read_icc_profile(&d->c, &d->icc, size)) return NULL;
  return d->icc;
}

int tl_jpeg_decode(tl_jpeg *d, unsigned char *rgb, tl_jpeg_damage *damage) {
  if (setjmp(d->e.back)) {
    *damage = d->e.damage;
    snprintf(damage->message, sizeof damage->message, "%s", d->e.fatal);
    return 1;
  }
  d->c.out_color_space = JCS_RGB;
  d->c.dct_method = JDCT_ISLOW;
  jpeg_start_decompress(&d->c);
  size_t stride = (size_t)3 * d->c.output_width;
  while (d->c.output_scanline < d->c.output_height) {
    JSAMPROW row = rgb + stride * d->c.output_scanline;
    jpeg_read_scanlines(&d->c, &row, 1);
  }
  jpeg_finish_decompress(&d->c);
  *damage = d->e.damage;
  return 0;
}

void tl_jpeg_close(tl_jpeg *d) {
  if (!d) return;
  jpeg_destroy_decompress(&d->c);
  free(d->icc);
  free(d);
}
