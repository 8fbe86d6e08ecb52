#include <dlfcn.h>
#include <stdio.h>
#include <string.h>
#include "heif.h"

// The parts of libheif's stable C interface that are used, as declared in its heif.h (1.6 and later).
struct herr { int code, sub; const char *msg; };
struct nclx { uint8_t version; int primaries, transfer, matrix; uint8_t full_range; float xy[8]; };

static struct {
  void *so;
  const char *(*version)(void);
  void *(*ctx_alloc)(void);
  void (*ctx_free)(void *);
  void (*threads)(void *, int);
  struct herr (*read)(void *, const void *, size_t, const void *);
  int (*count)(void *);
  struct herr (*primary)(void *, void **);
  void (*handle_release)(void *);
  int (*handle_w)(void *);
  int (*handle_h)(void *);
  int (*bits)(void *);
  size_t (*icc_size)(void *);
  struct herr (*icc)(void *, void *);
  struct herr (*nclx)(void *, struct nclx **);
  void (*nclx_free)(struct nclx *);
  struct herr (*decode)(void *, void **, int, int, const void *);
  const uint8_t *(*plane)(void *, int, int *);
  int (*image_w)(void *, int);
  int (*image_h)(void *, int);
  void (*image_release)(void *);
} L;

enum { COLORSPACE_RGB = 1, CHROMA_INTERLEAVED_RGB = 10, CHANNEL_INTERLEAVED = 10 };

// Called under a lock held by Go.
const char *tl_heif_load(void) {
  if (L.so) return NULL;
  void *so = dlopen("libheif.so.1", RTLD_NOW | RTLD_LOCAL);
  if (!so) return "libheif is not installed";
#define GET(f, n) if (!(*(void **)&L.f = dlsym(so, n))) { dlclose(so); return "libheif is too old, it lacks " n; }
  GET(version, "heif_get_version")
  GET(ctx_alloc, "heif_context_alloc")
  GET(ctx_free, "heif_context_free")
  GET(read, "heif_context_read_from_memory_without_copy")
  GET(count, "heif_context_get_number_of_top_level_images")
  GET(primary, "heif_context_get_primary_image_handle")
  GET(handle_release, "heif_image_handle_release")
  GET(handle_w, "heif_image_handle_get_width")
  GET(handle_h, "heif_image_handle_get_height")
  GET(bits, "heif_image_handle_get_luma_bits_per_pixel")
  GET(icc_size, "heif_image_handle_get_raw_color_profile_size")
  GET(icc, "heif_image_handle_get_raw_color_profile")
  GET(nclx, "heif_image_handle_get_nclx_color_profile")
  GET(nclx_free, "heif_nclx_color_profile_free")
  GET(decode, "heif_decode_image")
  GET(plane, "heif_image_get_plane_readonly")
  GET(image_w, "heif_image_get_width")
  GET(image_h, "heif_image_get_height")
  GET(image_release, "heif_image_release")
#undef GET
  *(void **)&L.threads = dlsym(so, "heif_context_set_max_decoding_threads"); // since 1.13; without it, its own choice
  L.so = so;
  return NULL;
}

const char *tl_heif_version(void) { return L.version(); }

static int bad(tl_heif *r, struct herr e) {
  r->code = e.code;
  snprintf(r->message, sizeof r->message, "%s", e.msg ? e.msg : "unknown error");
  return 1;
}

int tl_heif_open(tl_heif *r, const void *data, size_t size) {
  r->ctx = L.ctx_alloc();
  if (!r->ctx) { snprintf(r->message, sizeof r->message, "out of memory"); return 1; }
  if (L.threads) L.threads(r->ctx, 0);
  struct herr e = L.read(r->ctx, data, size, NULL);
  if (e.code) return bad(r, e);
  r->pictures = L.count(r->ctx);
  e = L.primary(r->ctx, &r->handle);
  if (e.code) return bad(r, e);
  r->width = L.handle_w(r->handle);
  r->height = L.handle_h(r->handle);
  r->bits = L.bits(r->handle);
  r->icc_size = L.icc_size(r->handle);
  struct nclx *n = NULL;
  e = L.nclx(r->handle, &n);
  if (!e.code && n) {
    r->has_nclx = 1;
    r->primaries = n->primaries;
    r->transfer = n->transfer;
  }
  if (n) L.nclx_free(n);
  return 0;
}

int tl_heif_icc(tl_heif *r, void *out) {
  struct herr e = L.icc(r->handle, out);
  return e.code ? bad(r, e) : 0;
}

int tl_heif_decode(tl_heif *r) {
  struct herr e = L.decode(r->handle, &r->image, COLORSPACE_RGB, CHROMA_INTERLEAVED_RGB, NULL);
  if (e.code) return bad(r, e);
  r->rgb = L.plane(r->image, CHANNEL_INTERLEAVED, &r->stride);
  r->width = L.image_w(r->image, CHANNEL_INTERLEAVED);
  r->height = L.image_h(r->image, CHANNEL_INTERLEAVED);
  if (!r->rgb || r->width <= 0 || r->height <= 0 || r->stride < 3 * r->width) {
    snprintf(r->message, sizeof r->message, "no pixels came out");
    return 1;
  }
  return 0;
}

void tl_heif_close(tl_heif *r) {
  if (r->image) L.image_release(r->image);
  if (r->handle) L.handle_release(r->handle);
  if (r->ctx) L.ctx_free(r->ctx);
}
