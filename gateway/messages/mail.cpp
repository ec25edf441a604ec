#include "gateway/messages/mail.h"

#include <sodium.h>

#include <array>
#include <algorithm>

#include "gateway/messages/channel.h"
#include "gateway/telemetry/json_text.h"

namespace driftline::messages {
namespace {

constexpr std::size_t bytes_a_word = 42;  // 56 base64 characters and 12 around them, under 75
constexpr std::size_t bytes_a_line = 57;  // 76 base64 characters

std::string base64(std::string_view bytes) {
  std::string out(sodium_base64_ENCODED_LEN(bytes.size(), sodium_base64_VARIANT_ORIGINAL), '\0');
  sodium_bin2base64(out.data(), out.size(), reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), sodium_base64_VARIANT_ORIGINAL);
  out.resize(out.size() - 1);
  return out;
}

std::string date_text(Time time) {
  static constexpr std::array<const char*, 7> days{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  static constexpr std::array<const char*, 12> months{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const auto day = std::chrono::floor<std::chrono::days>(time);
  const std::chrono::year_month_day date{day};
  const auto s = std::chrono::duration_cast<std::chrono::seconds>(time - day).count();
  const auto two = [](long long v) { return (v < 10 ? "0" : "") + std::to_string(v); };
  return std::string(days.at(std::chrono::weekday{day}.c_encoding())) + ", " + std::to_string(static_cast<unsigned>(date.day())) + " " +
         months.at(static_cast<unsigned>(date.month()) - 1) + " " + std::to_string(static_cast<int>(date.year())) + " " + two(s / 3600) + ":" +
         two(s / 60 % 60) + ":" + two(s % 60) + " +0000";
}

std::string crlf(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '\r') continue;
    if (c == '\n') out += '\r';
    out += c;
  }
  return out;
}

std::string in_lines(std::string_view bytes) {
  std::string out;
  for (std::size_t at = 0; at < bytes.size(); at += bytes_a_line) out += base64(bytes.substr(at, bytes_a_line)) + "\r\n";
  return out;
}

std::string part(const std::string& type, std::string_view text) {
  return "Content-Type: " + type + "; charset=utf-8\r\nContent-Transfer-Encoding: base64\r\n\r\n" + in_lines(crlf(text));
}

std::string with_host(std::string text, const std::string& host) {
  for (std::size_t at = 0; (at = text.find(host_place, at)) != std::string::npos; at += host.size()) text.replace(at, host_place.size(), "@" + host);
  return text;
}

// The HTML with its pictures (RFC 2387, 2392), or by itself.
std::string html_part(const Text& text, const std::string& boundary, const std::string& host) {
  const std::string html = part("text/html", with_host(text.html, host));
  if (text.pictures.empty()) return html;
  std::string out = "Content-Type: multipart/related; type=\"text/html\";\r\n boundary=\"" + boundary + "\"\r\n\r\n--" + boundary + "\r\n" + html;
  for (const Picture& picture : text.pictures)
    out += "--" + boundary + "\r\nContent-Type: image/png\r\nContent-Transfer-Encoding: base64\r\nContent-ID: <" + picture.id + "@" + host +
           ">\r\nContent-Disposition: inline; filename=\"" + picture.id + ".png\"\r\n\r\n" + in_lines(picture.png);
  return out + "--" + boundary + "--\r\n";
}

}  // namespace

bool is_mail_address(std::string_view address) {
  const auto at = address.find('@');
  if (at == std::string_view::npos || at == 0 || at > 64 || address.size() - at - 1 > 255 || at + 1 == address.size()) return false;
  if (address.find('@', at + 1) != std::string_view::npos || address.size() > 254) return false;
  return std::all_of(address.begin(), address.end(), [](char c) {
    return c > 0x20 && c < 0x7F && c != '<' && c != '>' && c != ',' && c != '"' && c != '\\' && c != '(' && c != ')' && c != ';' && c != ':' && c != '[' && c != ']';
  });
}

std::string header_text(std::string_view text) {
  std::string clean;
  bool plain = true;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    clean += byte < 0x20 || byte == 0x7F ? ' ' : c;
    if (byte >= 0x80) plain = false;
  }
  if (plain && clean.size() <= 70 && clean.find("=?") == std::string::npos) return clean;
  std::string out;
  for (std::size_t at = 0; at < clean.size();) {
    std::size_t length = 0;
    while (at + length < clean.size() && length < bytes_a_word) {
      const std::size_t next = std::max<std::size_t>(1, utf8_length(std::string_view(clean).substr(at + length)));
      if (length + next > bytes_a_word) break;
      length += next;
    }
    if (!out.empty()) out += "\r\n ";
    out += "=?UTF-8?B?" + base64(std::string_view(clean).substr(at, length)) + "?=";
    at += length;
  }
  return out;
}

std::string mail_of(const Text& text, const Envelope& envelope) {
  const std::string thread = "<thread." + hash_of(text.thread) + "@" + envelope.host + ">";
  const std::string boundary = "part-" + hash_of(text.plain + envelope.to + envelope.identity);
  std::string out;
  out += "Date: " + date_text(envelope.date) + "\r\n";
  out += "From: driftline <" + envelope.from + ">\r\n";
  out += "To: <" + envelope.to + ">\r\n";
  out += "Message-ID: <" + envelope.identity + "@" + envelope.host + ">\r\n";
  out += "In-Reply-To: " + thread + "\r\nReferences: " + thread + "\r\n";
  out += "Subject: " + header_text(text.subject) + "\r\n";
  out += "Auto-Submitted: auto-generated\r\nMIME-Version: 1.0\r\n";
  out += "Content-Type: multipart/alternative;\r\n boundary=\"" + boundary + "\"\r\n\r\n";
  out += "--" + boundary + "\r\n" + part("text/plain", text.plain);
  out += "--" + boundary + "\r\n" + html_part(text, boundary + "-html", envelope.host);
  out += "--" + boundary + "--\r\n";
  return out;
}

}  // namespace driftline::messages
