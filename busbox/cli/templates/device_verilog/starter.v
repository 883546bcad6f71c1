// starter: a lamp whose brightness is set by firmware. Its registers are in starter.toml.
module starter #(
    parameter period = 255          // a setting of the model: the same name
) (
    input  wire        clk,
    input  wire        rst,         // active high, synchronous
    // A Wishbone B4 classic port; adr counts words.
    input  wire        cyc,
    input  wire        stb,
    input  wire        we,
    input  wire [9:0]  adr,
    input  wire [3:0]  sel,
    input  wire [31:0] dat_i,
    output wire [31:0] dat_o,
    output wire        ack,
    // Pins.
    output reg         lamp
);
    reg [7:0] level, count;

    assign ack   = cyc & stb;       // every access ends at once
    assign dat_o = adr == 0 ? {24'b0, level} :
                   adr == 1 ? {24'b0, count} : 32'b0;

    always @(posedge clk)
        if (rst) begin
            level <= 0;
            count <= 0;
            lamp  <= 0;
        end else begin
            count <= count == period - 1 ? 8'd0 : count + 8'd1;
            lamp  <= count < level;
            if (ack && we && sel[0] && adr == 0)
                level <= dat_i[7:0];
        end
endmodule
