#include "gateway/metrics/gzip.h"

#include <zlib.h>

namespace driftline::metrics {

std::string gzipped(std::string_view bytes) {
  constexpr int gzip_wrapper = 16;  // added to the window bits, zlib.h
  constexpr int quick = 3;          // lines of numbers: level 6 takes three times as long for 10 % less
  z_stream stream{};
  if (deflateInit2(&stream, quick, Z_DEFLATED, MAX_WBITS + gzip_wrapper, 8, Z_DEFAULT_STRATEGY) != Z_OK) return {};
  std::string out(deflateBound(&stream, bytes.size()), '\0');
  std::string in(bytes);  // zlib's pointer is not const
  stream.next_in = reinterpret_cast<Bytef*>(in.data());    // NOLINT: zlib's type
  stream.avail_in = static_cast<uInt>(in.size());
  stream.next_out = reinterpret_cast<Bytef*>(out.data());  // NOLINT: zlib's type
  stream.avail_out = static_cast<uInt>(out.size());
  const bool whole = deflate(&stream, Z_FINISH) == Z_STREAM_END;
  out.resize(whole ? stream.total_out : 0);
  deflateEnd(&stream);
  return out;
}

}  // namespace driftline::metrics
