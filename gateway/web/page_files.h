// The page that the program carries: the files that gateway/web/page/build.mjs made, gzip'ed.
//
// Without npm at build time there are none, and the gateway serves its API alone.
#pragma once

#include <cstddef>
#include <span>
#include <string_view>

namespace driftline::web {

struct PageFile {
  std::string_view path;  // as asked for: "/index.html", "/page-3F2A91BC.js"
  std::string_view type;  // Content-Type
  std::string_view tag;   // changes with the content: ETag without its quotes
  bool lasting = false;   // the name changes with the content: may be kept for a year
  const unsigned char* gzip = nullptr;
  std::size_t gzip_size = 0;
};

// By path. "/index.html" is also what every path of the page answers that is neither a file nor below /api.
[[nodiscard]] std::span<const PageFile> page_files();

}  // namespace driftline::web
