#include "gateway/messages/blocks.h"

namespace driftline::messages {
namespace {

using Kind = Block::Kind;

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : text) switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\n': out += "<br>\n"; break;
      default: out += c;
    }
  return out;
}

std::string paragraph(const char* style, const std::string& inner) { return std::string("<p style=\"") + style + "\">" + inner + "</p>\n"; }

std::string link(const Block& block, const char* style) {
  return "<a href=\"" + escaped(block.url) + "\" style=\"" + style + "\">" + escaped(block.text) + "</a>";
}

std::string listed(const Block& block, const char* tag) {
  std::string out = block.text.empty() ? "" : paragraph("margin:14px 0 4px;font-weight:bold", escaped(block.text));
  out += std::string("<") + tag + " style=\"margin:0 0 12px;padding-left:24px\">\n";
  for (const std::string& item : block.items) out += "<li style=\"margin:0 0 6px\">" + escaped(item) + "</li>\n";
  return out + "</" + tag + ">\n";
}

std::string picture(const Block& block, std::vector<Picture>& pictures) {
  const std::string id = "trend-" + std::to_string(pictures.size() + 1);
  pictures.push_back({id, png_of(*block.trend)});
  return "<p style=\"margin:12px 0\"><img src=\"cid:" + id + std::string(host_place) + "\" alt=\"" + escaped(block.text) + "\" width=\"" +
         std::to_string(picture_width / 2) + "\" style=\"width:100%;max-width:" + std::to_string(picture_width) + "px;height:auto;border:0\"><br>\n" +
         "<span style=\"font-size:13px;color:#555\">" + escaped(block.text) + "</span></p>\n";
}

std::string html(const Block& block, std::vector<Picture>& pictures) {
  switch (block.kind) {
    case Kind::head: return paragraph("margin:0 0 4px;font-weight:bold", escaped(block.text));
    case Kind::note: return paragraph("margin:0 0 12px;font-size:13px;color:#555", escaped(block.text));
    case Kind::line: return paragraph("margin:0 0 10px", escaped(block.text));
    case Kind::list: return listed(block, "ol");
    case Kind::points: return listed(block, "ul");
    case Kind::caution:
      return paragraph("margin:14px 0;padding:10px 12px;background:#fff3e0;border-left:4px solid #b35900", escaped(block.text));
    case Kind::button:
      return paragraph("margin:16px 0",
                       link(block, "display:inline-block;padding:13px 22px;background:#1e3c5a;color:#ffffff;text-decoration:none;border-radius:6px;font-weight:bold"));
    case Kind::link: return paragraph("margin:0 0 12px", link(block, "display:inline-block;padding:8px 0;color:#1e3c5a"));
    case Kind::picture: return block.trend ? picture(block, pictures) : std::string{};
    case Kind::section:
      return "<hr style=\"border:0;border-top:1px solid #ccc;margin:20px 0\">\n" + paragraph("margin:0 0 10px;font-weight:bold", escaped(block.text));
  }
  return {};
}

}  // namespace

std::string plain_of(const std::vector<Block>& blocks) {
  std::string out;
  for (const Block& block : blocks) switch (block.kind) {
      case Kind::head:
      case Kind::note:
      case Kind::line: out += block.text + "\n"; break;
      case Kind::list:
      case Kind::points: {
        if (!block.text.empty()) out += block.text + "\n";
        int number = 0;
        for (const std::string& item : block.items) out += (block.kind == Kind::list ? std::to_string(++number) + ". " : "- ") + item + "\n";
        break;
      }
      case Kind::caution: out += block.text + "\n"; break;
      case Kind::button:
      case Kind::link: out += block.text + ": " + block.url + "\n"; break;
      case Kind::picture: break;
      case Kind::section: out += "\n" + block.text + "\n"; break;
    }
  return out;
}

std::string html_of(const std::string& subject, const std::string& language, const std::string& accent, const std::vector<Block>& blocks,
                    std::vector<Picture>& pictures) {
  std::string out = "<!doctype html>\n<html lang=\"" + escaped(language) +
                    "\">\n<head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">"
                    "<meta name=\"color-scheme\" content=\"light\"><title>" +
                    escaped(subject) + "</title></head>\n<body style=\"margin:0;background:#ffffff;color:#222222;font:16px/1.45 sans-serif\">\n" +
                    "<div style=\"overflow-wrap:anywhere;max-width:600px;padding:14px 16px;border-top:6px solid " + accent + "\">\n<h1 style=\"margin:0 0 12px;font-size:20px;line-height:1.3\">" +
                    escaped(subject) + "</h1>\n";
  for (const Block& block : blocks) out += html(block, pictures);
  return out + "</div>\n</body>\n</html>\n";
}

}  // namespace driftline::messages
