// What Go sees of heif.c. libheif is opened at run time, so that only who has such files needs it.
#include <stddef.h>
#include <stdint.h>

typedef struct {
  void *ctx, *handle, *image;
  int width, height, bits, pictures;
  size_t icc_size;
  int has_nclx, primaries, transfer; // code points of ITU-T H.273
  const uint8_t *rgb;
  int stride;
  int code; // of the error, libheif's heif_error_code
  char message[256];
} tl_heif;

const char *tl_heif_load(void); // NULL = ready, else what is missing
const char *tl_heif_version(void);
int tl_heif_open(tl_heif *r, const void *data, size_t size); // 0 = done
int tl_heif_icc(tl_heif *r, void *out);
int tl_heif_decode(tl_heif *r);
void tl_heif_close(tl_heif *r);
